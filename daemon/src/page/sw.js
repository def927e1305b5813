// The worker that stays when the page is closed: shows each push, and takes the answer to it.
"use strict";

const WORDS = { "on-it": "On it", later: "Later" };

// A newer text of this file serves at once: nothing is kept that an older page would need.
self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

const read = (event) => {
  try {
    return event.data.json();
  } catch {
    // Something is shown for every push: a browser ends the subscription of a page that stays silent.
    return { id: "", notice: "", step: 0, title: "Look at the house", text: "A notice came that cannot be read here.", loud: true, buttons: [] };
  }
};

const show = async (told) => {
  const tag = told.notice || "glasshour";
  const [standing] = await self.registration.getNotifications({ tag });
  const shown = standing?.data;
  // A repeat, or an older step that a newer one overtook, replaces nothing and makes no sound; it is shown again as
  // what stands.
  const stale = Boolean(shown) && shown.notice === told.notice && shown.step >= told.step;
  const what = stale ? shown : told;
  await self.registration.showNotification(what.title, {
    body: what.text,
    tag,
    renotify: Boolean(standing) && !stale && what.loud,
    silent: Boolean(standing) && (stale || !what.loud),
    requireInteraction: what.severity === "severe" || what.severity === "extreme",
    actions: (what.buttons ?? []).map((action) => ({ action, title: WORDS[action] ?? action })),
    icon: "/mark.svg",
    data: what,
  });
};

self.addEventListener("push", (event) => event.waitUntil(show(read(event))));

// The browser has ended the way by which notices came, and may have no new one: only the page can say its name again.
self.addEventListener("pushsubscriptionchange", (event) => event.waitUntil(show({ id: "", notice: "", step: 0, loud: true,
  buttons: [], title: "This phone may receive no more notices", text: "Open the page Ground on it and let it receive them again." })));

const answer = async (told, action) => {
  const body = new URLSearchParams({ notice: told.notice, answer: action });
  try {
    const said = await fetch("/reply", { method: "POST", body });
    if (said.ok) return;
  } catch {
    // Told below: the board is out of reach.
  }
  await self.registration.showNotification(`“${WORDS[action]}” was not noted`, {
    body: `The board was not reached. ${told.title}`,
    tag: told.notice,
    data: told,
    actions: (told.buttons ?? []).map((one) => ({ action: one, title: WORDS[one] ?? one })),
    icon: "/mark.svg",
  });
};

const look = async () => {
  const [open] = await self.clients.matchAll({ type: "window", includeUncontrolled: true });
  try {
    await (open ? open.focus() : self.clients.openWindow("/"));
  } catch {
    // A browser may refuse to open a page; the answer is given all the same.
  }
};

self.addEventListener("notificationclick", (event) => {
  const told = event.notification.data ?? {};
  event.notification.close();
  const noted = WORDS[event.action] ? answer(told, event.action) : Promise.resolve();
  event.waitUntil(Promise.all([noted, look()]));
});
