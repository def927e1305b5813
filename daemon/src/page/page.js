// Keeps the page fresh. Everything else works without it.
// When the board says that its glance changed, the page is fetched again and lintel and main are exchanged;
// between two fetches the page's own timer lets the shown ages grow.
(() => {
  "use strict";
  const OLD_S = 600;
  const STALE_S = 900;
  const RETRY_MS = 30000;
  let fetched = performance.now();
  let shown = document.body.dataset.at;
  // None: whatever is the newest.
  let wanted = shown;
  let busy = false;

  const span = (seconds) =>
    seconds < 7200 ? `${Math.max(1, Math.round(seconds / 60))} min` : `${Math.round(seconds / 3600)} h`;

  const age = () => {
    const since = (performance.now() - fetched) / 1000;
    for (const place of document.querySelectorAll("[data-age]")) {
      const old = Number(place.dataset.age) + since;
      place.classList.toggle("old", old > OLD_S);
      const words = place.querySelector("[data-ago]");
      if (words) words.textContent = old >= 90 ? `, ${span(old)} ago` : "";
    }
    const stale = document.getElementById("stale");
    document.body.classList.toggle("stale-page", since > STALE_S);
    if (stale) {
      stale.hidden = since <= STALE_S;
      stale.textContent = since > STALE_S ? `This page is ${span(since)} old. Go and look.` : "";
    }
  };

  // Nobody's half-filled form is taken away.
  const writing = () => {
    const form = document.activeElement && document.activeElement.closest("form");
    if (form && /^(INPUT|SELECT|TEXTAREA)$/.test(document.activeElement.tagName)) return true;
    return [...document.querySelectorAll("main input, .lintel input")].some(
      (field) => field.type !== "hidden" && field.value !== field.defaultValue);
  };

  const exchange = (fresh) => {
    const folds = [...document.querySelectorAll("details[id]")].map((one) => [one.id, one.open]);
    const focus = document.activeElement && document.activeElement.id;
    for (const id of ["lintel", "main"]) {
      const [was, is] = [document.getElementById(id), fresh.getElementById(id)];
      if (was && is) was.replaceWith(document.adoptNode(is));
    }
    for (const [id, open] of folds) {
      const one = document.getElementById(id);
      if (one) one.open = open;
    }
    if (focus && document.getElementById(focus)) document.getElementById(focus).focus({ preventScroll: true });
  };

  const refresh = async () => {
    if (busy || wanted === shown || writing() || document.hidden) return;
    busy = true;
    try {
      const answer = await fetch(location.pathname + location.search, { cache: "no-store" });
      if (answer.ok) {
        const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
        // Somebody may have begun to write while it was on its way; the next round comes in a second.
        if (writing()) return;
        exchange(fresh);
        shown = fresh.body.dataset.at;
        wanted ??= shown;
        document.body.dataset.at = shown;
        fetched = performance.now();
        age();
      }
    } catch {
      // Out of reach: the ages go on growing, and the stream tries again by itself.
    } finally {
      busy = false;
    }
  };

  // A browser opens few connections to one board: a tab that nobody sees holds none. A stream the board refused, because
  // it has many, is not tried again by the browser: then the page is fetched on its own after a while.
  let stream = null;
  let retry = 0;
  // How far this page saw the ledger: said back, it shows what a card lost that had promised to keep it.
  let mark = "";
  const leave = () => {
    if (stream) stream.close();
    stream = null;
  };
  const follow = () => {
    if (document.hidden) leave();
    else if (!stream || stream.readyState === EventSource.CLOSED) {
      stream = new EventSource(mark ? "/live?seen=" + encodeURIComponent(mark) : "/live");
      stream.addEventListener("glance", (event) => {
        mark = event.lastEventId;
        wanted = event.data;
        refresh();
      });
      stream.addEventListener("error", (event) => {
        if (event.target !== stream || stream.readyState !== EventSource.CLOSED) return;
        clearTimeout(retry);
        retry = setTimeout(catchUp, RETRY_MS);
      });
    }
  };
  const catchUp = () => {
    wanted = null;
    follow();
    refresh();
  };
  // Who touches the page has seen what it shows; a page that merely lies open has not.
  const seen = () => {
    for (const mark of document.querySelectorAll("[data-unseen]")) {
      const notice = mark.dataset.unseen;
      mark.remove();
      fetch("/reply", { method: "POST", redirect: "manual", body: new URLSearchParams({ notice, answer: "seen" }) })
        .catch(() => {});
    }
  };
  for (const touch of ["pointerdown", "keydown"]) document.addEventListener(touch, seen, { passive: true });
  // "This phone's time" is the time at which it is sent, not the time at which the page was made.
  document.addEventListener("submit", (event) => {
    for (const field of event.target.querySelectorAll("input[data-now]")) field.value = Date.now();
  });
  document.addEventListener("visibilitychange", catchUp);
  // Out of the browser's memory a page comes back as it was left, however long ago.
  addEventListener("pageshow", (event) => { if (event.persisted) catchUp(); });
  addEventListener("pagehide", leave);
  document.addEventListener("focusout", () => setTimeout(refresh, 200));
  setInterval(() => { refresh(); age(); }, 1000);
  follow();
  age();
})();
