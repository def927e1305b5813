// Subscribes this phone to notices. Only where the browser can: by https, or on the board itself.
(() => {
  "use strict";
  const PATIENCE_MS = 15000;
  const NO = {
    safe: "Open this page on the phone by https (or on the board itself) to let it receive notices.",
    able: "This browser cannot receive notices. On some phones the page must first be put on the home screen.",
    denied: "This browser was told not to show notices of this page. Allow them in its settings, then reload.",
  };

  const one = (id) => document.getElementById(id);
  const say = (words) => { if (one("phone-says")) one("phone-says").textContent = words; };

  const text = (buffer) => btoa(String.fromCharCode(...new Uint8Array(buffer)))
    .replaceAll("+", "-").replaceAll("/", "_").replaceAll("=", "");

  // Some browsers never answer when they cannot reach their push service.
  const soon = (work) => Promise.race([work,
    new Promise((_, give) => setTimeout(() => give(new Error("the browser does not answer")), PATIENCE_MS))]);

  const identifier = async (endpoint) => {
    const hash = await crypto.subtle.digest("SHA-256", new TextEncoder().encode(endpoint));
    return [...new Uint8Array(hash).slice(0, 8)].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  };

  const hindrance = () => {
    if (!window.isSecureContext) return NO.safe;
    if (!navigator.serviceWorker || !window.PushManager || !window.Notification) return NO.able;
    return Notification.permission === "denied" ? NO.denied : "";
  };

  const worker = async () => {
    await navigator.serviceWorker.register("/sw.js");
    return navigator.serviceWorker.ready;
  };

  // A subscription for another key than the board's is of no use: the board was changed, or lost its key.
  const subscribe = async (key) => {
    const push = (await worker()).pushManager;
    const had = await push.getSubscription();
    if (had && text(had.options.applicationServerKey ?? new ArrayBuffer(0)) !== key) await had.unsubscribe();
    return push.subscribe({ userVisibleOnly: true, applicationServerKey: key });
  };

  const send = async (form) => {
    say("Asking this browser…");
    try {
      if (await Notification.requestPermission() !== "granted") throw new Error("notices were not allowed");
      const got = await soon(subscribe(form.dataset.key));
      form.elements.endpoint.value = got.endpoint;
      form.elements.p256dh.value = text(got.getKey("p256dh"));
      form.elements.auth.value = text(got.getKey("auth"));
      say("");
      form.submit();
    } catch (error) {
      say(`This phone receives nothing yet: ${error.message}. Reload the page and try again.`);
    }
  };

  const show = async () => {
    const [form, no] = [one("phone-form"), one("phone-no")];
    if (!form || !no) return;
    const why = hindrance();
    form.hidden = why !== "";
    no.hidden = why === "";
    no.textContent = why;
    if (why) return;
    const registered = await navigator.serviceWorker.getRegistration("/");
    const had = await registered?.pushManager.getSubscription();
    if (!had) return;
    // A worker that is known to the browser gets its newest text.
    registered.update().catch(() => {});
    const own = document.querySelector(`[data-phone="${await identifier(had.endpoint)}"] strong`);
    const same = text(had.options.applicationServerKey ?? new ArrayBuffer(0)) === form.dataset.key;
    if (own && same) {
      if (!own.dataset.own) own.append(" (this phone)");
      own.dataset.own = "yes";
    } else {
      say("This phone received notices once and does so no longer. Give it its name again to let it.");
    }
  };

  document.addEventListener("submit", (event) => {
    if (event.target.id !== "phone-form") return;
    event.preventDefault();
    send(event.target);
  });
  // page.js exchanges the page's main part when the board has news.
  new MutationObserver(show).observe(document.body, { childList: true });
  show();
})();
