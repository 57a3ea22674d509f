// Shows an alert that is pushed to this browser, says so, and leads to it. The mail goes unless this says so within a minute.
self.addEventListener('push', event => {
  const alert = event.data.json();
  event.waitUntil(self.registration
    .showNotification(alert.title, { body: alert.body, tag: alert.tag, renotify: true, lang: alert.lang, dir: alert.dir, data: { address: alert.address } })
    .then(() => fetch(alert.receipt, { method: 'POST' })));
});

self.addEventListener('notificationclick', event => {
  event.notification.close();
  event.waitUntil(clients.openWindow(event.notification.data.address));
});
