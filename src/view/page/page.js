// Fetches the page again when the daemon says that something has changed, and says so when the daemon is lost. The page
// is whole without it.
"use strict";
(() => {
  const link = document.getElementById("link");
  const QUIET = 12000; // Milliseconds: the daemon speaks every five seconds.
  let heard = Date.now();
  let lost = false;
  let asking = false;
  let again = false;
  let source = null;

  const clock = (at) => new Date(at).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit", hourCycle: "h23" });

  function say() {
    const text = lost
      ? `The daemon has not been heard since ${clock(heard)}. What stands here is from before, and may no longer be so.`
      : "This page follows the farm.";
    link.classList.toggle("lost", lost);
    if (link.textContent !== text) link.textContent = text;
    const title = document.title.replace(/^Lost: /, "");
    document.title = lost ? `Lost: ${title}` : title;
  }

  function hear() {
    heard = Date.now();
    if (lost) { lost = false; open(); }
    say();
  }

  function lose() { lost = true; say(); }

  // Makes one tree like another and touches nothing else, so that focus, selection and place are kept.
  function become(old, fresh) {
    if (old.nodeType !== fresh.nodeType || old.nodeName !== fresh.nodeName || old.id !== fresh.id) {
      old.replaceWith(document.importNode(fresh, true));
      return;
    }
    if (old.nodeType !== Node.ELEMENT_NODE) {
      if (old.data !== fresh.data) old.data = fresh.data;
      return;
    }
    for (const { name } of [...old.attributes]) {
      // What the reader has opened stays open.
      if (!fresh.hasAttribute(name) && name !== "open") old.removeAttribute(name);
    }
    for (const { name, value } of fresh.attributes) {
      if (old.getAttribute(name) !== value) old.setAttribute(name, value);
    }
    const before = [...old.childNodes];
    const after = [...fresh.childNodes];
    after.forEach((node, index) => {
      if (index < before.length) become(before[index], node);
      else old.appendChild(document.importNode(node, true));
    });
    before.slice(after.length).forEach((node) => node.remove());
  }

  async function refresh() {
    if (asking) { again = true; return; }
    asking = true;
    try {
      const answer = await fetch(location.href, { cache: "no-store", signal: AbortSignal.timeout(10000) });
      if (!answer.ok) throw new Error(answer.status);
      const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
      const version = document.documentElement.dataset.version;
      if (fresh.documentElement.dataset.version !== version) { location.reload(); return; }
      for (const id of ["main", "as-of"]) become(document.getElementById(id), fresh.getElementById(id));
      document.title = fresh.title;
      hear();
    } catch { lose(); }
    asking = false;
    if (again) { again = false; refresh(); }
  }

  function open() {
    if (source) source.close();
    source = new EventSource("/events");
    source.addEventListener("changed", refresh);
    source.addEventListener("alive", hear);
    source.onerror = () => {
      // The daemon ends each stream after a while and is asked again; a page tells which of the two it was.
      if (source.readyState === EventSource.CLOSED) setTimeout(open, 5000);
      refresh();
    };
  }

  setInterval(() => { if (!lost && Date.now() - heard > QUIET) lose(); }, 1000);
  // A phone that slept asks at once.
  document.addEventListener("visibilitychange", () => { if (!document.hidden) refresh(); });
  addEventListener("pagehide", () => { if (source) source.close(); });
  addEventListener("pageshow", (event) => { if (event.persisted) { refresh(); open(); } });
  say();
  open();
})();
