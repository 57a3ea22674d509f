// Tells what this browser can do, subscribes it, and finds it among the devices listed. Every text stands in the page, hidden until it holds.
(() => {
  "use strict";
  const box = document.getElementById("device"), form = box.querySelector("form"), list = document.querySelector("#devices ul");
  const here = "/notifications";

  function show(state, fault = "") {
    for (const part of box.querySelectorAll("[data-state]")) part.hidden = part.dataset.state !== state;
    for (const part of box.querySelectorAll("[data-fault]")) part.hidden = part.dataset.fault !== fault;
  }

  // The service names a browser by a hash of its endpoint, which is a secret and stands in no page.
  async function rowOf(subscription) {
    const hash = new Uint8Array(await crypto.subtle.digest("SHA-256", new TextEncoder().encode(subscription.endpoint)));
    const id = [...hash.slice(0, 12)].map(byte => byte.toString(16).padStart(2, "0")).join("");
    return list?.querySelector(`[data-device="${id}"]`) ?? null;
  }

  async function look() {
    if (!isSecureContext) return show("insecure");
    if (!("serviceWorker" in navigator && "PushManager" in window && "Notification" in window)) return show("unsupported");
    const registration = await navigator.serviceWorker.getRegistration("/");
    const subscription = await registration?.pushManager.getSubscription();
    const row = subscription && await rowOf(subscription);
    if (row) {
      row.querySelector(".own").hidden = false;
      list.prepend(row);
      row.querySelector(".remove").addEventListener("submit", async event => {
        event.preventDefault();
        try { await subscription.unsubscribe(); } finally { event.target.submit(); }
      });
    }
    show(Notification.permission === "denied" ? "denied" : row ? "on" : "off");
  }

  async function subscribe() {
    if (await Notification.requestPermission() !== "granted") return look();
    await navigator.serviceWorker.register("/sw.js");
    const { pushManager } = await navigator.serviceWorker.ready;
    await (await pushManager.getSubscription())?.unsubscribe(); // One that the service does not know, or that has another key, stands in the way.
    const subscription = await pushManager.subscribe({ userVisibleOnly: true, applicationServerKey: box.dataset.key });
    const { endpoint, keys: { p256dh, auth } } = subscription.toJSON();
    const answer = await fetch("/api/v1/push/subscriptions", {
      method: "POST", headers: { "Content-Type": "application/json" },
      body: JSON.stringify({ endpoint, keys: { p256dh, auth }, email: form.email.value, name: form.elements.name.value }),
    });
    if (answer.ok) return location.assign(here);
    await subscription.unsubscribe();
    if (answer.status === 401) return location.assign(here);
    show("off", answer.status === 400 ? "refused" : "failed");
  }

  form.addEventListener("submit", async event => {
    event.preventDefault();
    const button = form.querySelector("button");
    button.disabled = true; // The browser asks the person, and its push service: that takes as long as it takes.
    show("off");
    try { await subscribe(); } catch { show("off", "failed"); } finally { button.disabled = false; }
  });
  form.elements.name.value = navigator.userAgentData?.platform || navigator.platform;
  navigator.serviceWorker?.addEventListener("message", () => location.assign(here)); // A notice was shown: the list says when.
  look();
})();
