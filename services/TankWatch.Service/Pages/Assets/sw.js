// Shows an alert that is pushed to this browser, says so, and leads to it. The mail goes unless this says so within a minute.
self.addEventListener('push', event => {
  const { title, body, tag, lang, dir, stays, acknowledge, address, link, receipt } = event.data.json();
  event.waitUntil(self.registration
    .showNotification(title, {
      body, tag, renotify: true, requireInteraction: Boolean(stays), lang, dir, icon: '/assets/icon/icon.svg', data: { address, link },
      actions: acknowledge ? [{ action: 'acknowledge', title: acknowledge }] : [],
    })
    .then(() => fetch(receipt, { method: 'POST' }))
    .then(() => clients.matchAll({ includeUncontrolled: true }))
    .then(pages => pages.filter(page => new URL(page.url).pathname === '/notifications').forEach(page => page.postMessage('shown'))));
});

// What cannot be acknowledged from here, as without a connection, is opened: whoever tapped must not believe that it was.
self.addEventListener('notificationclick', event => {
  const { address, link } = event.notification.data;
  event.notification.close();
  event.waitUntil(event.action === 'acknowledge'
    ? fetch(link, { method: 'POST', body: new URLSearchParams({ known: 'yes' }) }).then(answer => answer.ok || open(address, link), () => open(address, link))
    : open(address, link));
});

// Whoever is signed in no more, or may not see the alert by their key, comes to the page that its mail leads to: it needs no login.
const open = (address, link) => fetch(address, { method: 'HEAD' })
  .then(answer => answer.ok || !link ? address : link, () => address)
  .then(to => clients.openWindow(to));
