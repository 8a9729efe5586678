/* The frame around all pages. An address is shown by asking the server for its part once, and changing on the page what
   differs. Dash is loaded when the first page that needs it is opened. */
(function () {
  "use strict";
  const figures = window.setscrewFigures;
  const POLL_MS = 700;
  const MESSAGE_MS = 8000;
  const PATIENCE_OF_DASH_MS = 10000;
  const PATIENCE_MS = 500;  /* an answer that takes longer is worked out while the browser reads plotly.js */
  const BUSY = 503;  /* another process writes into the study; the page comes when it is done */
  const BUSY_MS = 2000;
  const SILENCE_MS = 15000;  /* who does not answer for so long is gone */
  const byId = function (id) { return document.getElementById(id); };
  let shown = null;  /* path and filter that the page shows */
  let opened = null;  /* what is open on it beside */
  let version = 0;
  let asked = null;  /* cancels the request under way */
  let dash = null;  /* a promise once Dash is loading */

  /* --- showing an address --------------------------------------------------------------------------------------- */

  function words() {
    const asks = new URLSearchParams(figures.form());
    asks.set("page", window.location.pathname);
    asks.set("search", window.location.search);
    for (const place of document.querySelectorAll("[data-figure][data-in-view='1']")) {
      const card = place.closest("[data-finding]");
      if (card) { asks.append("shown", card.dataset.finding); }
    }
    return "/part.json?" + asks;
  }

  async function ask() {
    if (asked) { asked.abort(); }
    const mine = asked = new AbortController();
    const address = window.location.pathname + window.location.search;
    const main = byId("main");
    main.setAttribute("aria-busy", "true");
    try {
      const answer = await window.fetch(words(), { signal: mine.signal });
      if (answer.status === BUSY) {
        say(await answer.text());
        window.setTimeout(function () { if (asked === null) { ask(); } }, BUSY_MS);
        return;
      }
      if (!answer.ok) { throw new Error(await answer.text()); }
      const part = await answer.json();
      if (asked !== mine) { return; }
      const elsewhere = shown !== null && shown.split("?")[0] !== window.location.pathname;
      shown = address;
      document.title = part.title;
      main.dataset.kind = part.kind;
      for (const id of ["navigation", "filter-bar", "basis", "reading"]) { figures.put(byId(id), part[id]); }
      figures.loadPlotlySoon();
      if (elsewhere) { window.scrollTo(0, 0); }
      told(part);
      figures.bring(part.figures);
      showOpened();
      showMeant();
      if (part.kind === "working") { loadDash(); } else { fetchDashEarly(); }
    } catch (error) {
      if (mine.signal.aborted) { return; }
      if (error instanceof TypeError) { gone(true); } else { say("This page could not be made: " + error.message); }
    } finally {
      if (asked === mine) {
        asked = null;
        main.removeAttribute("aria-busy");
      }
    }
  }

  /* What was opened on the page comes into sight, once. */
  function showOpened() {
    const place = document.querySelector("#reading [data-opened]");
    const now = place ? place.dataset.opened : null;
    /* A list beside the map stays where it is if it is in sight. */
    const block = place && place.matches(".wide") ? "start" : "nearest";
    /* What stands above it is to be seen together with it, where there is room. */
    const above = document.querySelector("#reading .answer.above");
    const top = function (one) { return one.getBoundingClientRect().top; };
    const sight = above && block === "start" && top(place) - top(above) < 0.65 * window.innerHeight ? above : place;
    if (now !== null && now !== opened) { sight.scrollIntoView({ block: block }); }
    opened = now;
  }

  /* A term that a link leads to. */
  function showMeant() {
    for (const one of document.querySelectorAll(".terms .meant")) { one.classList.remove("meant"); }
    const place = window.location.hash.length > 1 && byId(window.location.hash.slice(1));
    if (place && place.closest(".terms")) {
      place.classList.add("meant");
      place.scrollIntoView({ block: "nearest" });
    }
  }

  function told(state) {
    version = state.version;
    const undo = byId("undo");
    undo.hidden = state.undo === null;
    undo.textContent = state.undo === null ? "Undo" : "Undo " + state.undo;
  }

  /* Back at the address that the page still shows, while another was asked for: that answer must not come after all. */
  function moved() {
    if (asked || window.location.pathname + window.location.search !== shown) { ask(); } else { showMeant(); }
  }

  /* Dash's own name for "the address was changed by a script": its links send it, and its pages listen to it. */
  const MOVED = "_dashprivate_pushstate";
  window.addEventListener(MOVED, moved);
  window.addEventListener("popstate", moved);

  function say(text) {
    const place = byId("said");
    place.textContent = "";
    place.append(Object.assign(document.createElement("div"), { textContent: text }));
    window.clearTimeout(say.later);
    say.later = window.setTimeout(function () { place.textContent = ""; }, MESSAGE_MS);
  }

  /* The bar that says so stays until the server is back; then the page is asked for anew. */
  function gone(now) {
    const bar = byId("gone");
    if (bar.hidden !== now) { return; }
    bar.hidden = !now;
    if (!now) { ask(); }
  }

  async function look() {
    try {
      const answer = await window.fetch("/state.json", { signal: AbortSignal.timeout(SILENCE_MS) });
      gone(false);
      const state = await answer.json();
      if (state.study !== byId("main").dataset.study) { window.location.reload(); return; }
      if (state.version !== version && asked === null) {
        told(state);
        await ask();
      }
      tellDash(state.version);
    } catch (error) {
      if (error.name === "TypeError" || error.name === "TimeoutError") { gone(true); }
    }
  }

  /* Dash forgets the question under way when a newer one is put: it is told of a change once the page of this address
     stands there; and where the whole page follows, of the next one only once that was drawn. */
  let given = { version: 0, at: 0 };
  function tellDash(latest) {
    const place = document.querySelector("#working [data-address]");
    if (!place || place.dataset.address !== window.location.pathname + window.location.search) { return; }
    const drawn = Number(place.dataset.follows);  /* 0: it does not follow */
    if (given.version < drawn) { given.version = drawn; }
    const answered = !drawn || given.version === drawn || Date.now() - given.at > PATIENCE_OF_DASH_MS;
    if (given.version === latest || !answered) { return; }
    given = { version: latest, at: Date.now() };
    window.dash_clientside.set_props("study-version", { data: latest });
  }

  async function looking() {
    for (;;) {
      await new Promise(function (resolve) { window.setTimeout(resolve, POLL_MS); });
      await look();
    }
  }

  /* --- Dash -------------------------------------------------------------------------------------------------------- */

  function dashScripts() { return [...byId("dash-scripts").content.querySelectorAll("script")]; }

  function loadDash() {
    if (!dash) { dash = runInOrder(dashScripts()); }
  }

  async function runInOrder(scripts) {
    const own = scripts.filter(function (one) { return !one.src; });
    await Promise.all(scripts.filter(function (one) { return one.src; }).map(function (one) {
      return new Promise(function (resolve, reject) {
        const script = Object.assign(document.createElement("script"), { src: one.src, async: false });
        script.addEventListener("load", resolve);
        script.addEventListener("error", reject);
        document.body.append(script);
      });
    }));
    for (const one of own) {
      const script = document.createElement("script");
      script.id = one.id;
      script.textContent = one.textContent;
      document.body.append(script);
    }
  }

  /* Fetched but not run, so that a page of Dash opens soon. */
  function fetchDashEarly() {
    if (dash || fetchDashEarly.done) { return; }
    fetchDashEarly.done = true;
    window.setTimeout(function () {
      for (const one of dashScripts()) {
        if (one.src) { document.head.append(Object.assign(document.createElement("link"), { rel: "prefetch", as: "script", href: one.src })); }
      }
    }, 2000);
  }

  window.dash_clientside = Object.assign({}, window.dash_clientside, {
    setscrew: {
      clearedLater: function (content) {
        if (content) {
          byId("said").textContent = "";
          window.clearTimeout(window.setscrewMessage);
          window.setscrewMessage = window.setTimeout(function () {
            window.dash_clientside.set_props("message", { children: null });
          }, MESSAGE_MS);
        }
        return window.dash_clientside.no_update;
      }
    }
  });

  /* --- what people press --------------------------------------------------------------------------------------------- */

  /* An open list of the filter bar closes when something else is pressed, or with Escape. */
  function menu(open) {
    byId("menu").setAttribute("aria-expanded", String(open));
    if (!open && byId("menu").offsetParent !== null) { byId("menu").focus(); }
  }

  document.addEventListener("keydown", function (event) {
    if (event.key === "Escape" && event.target.closest(".rail") && byId("menu").ariaExpanded === "true") { menu(false); }
    const list = event.key === "Escape" && event.target.closest("details.pick[open]");
    if (list) { list.open = false; list.querySelector("summary").focus(); }
  });

  document.addEventListener("click", function (event) {
    const mine = event.target.closest("details.pick");
    for (const list of document.querySelectorAll("details.pick[open]")) { if (list !== mine) { list.open = false; } }
    if (event.target.closest("#menu")) { menu(byId("menu").ariaExpanded !== "true"); }
    if (event.target.closest("#theme-button")) { figures.otherTheme(); }
    if (event.target.closest("#undo")) { undo(); }
    const link = event.target.closest("a[href]");
    if (!link || event.defaultPrevented || event.button || event.metaKey || event.ctrlKey || event.shiftKey || event.altKey) { return; }
    if (link.origin !== window.location.origin || link.target || link.hasAttribute("download") || !isPage(link)) { return; }
    event.preventDefault();
    if (link.closest("#navigation")) { menu(false); }
    const single = link.closest("details.pick.one");  /* chosen is chosen; lists of which several may be stay open */
    if (single) { single.open = false; single.querySelector("summary").focus(); }
    window.history.pushState({}, "", link.href);
    window.dispatchEvent(new CustomEvent(MOVED));
  });

  function isPage(link) {
    return !link.getAttribute("href").startsWith("#") &&
      [...document.querySelectorAll("#navigation a")].some(function (one) { return one.pathname === link.pathname; });
  }

  document.addEventListener("pointerover", function (event) {
    if (event.target.closest && event.target.closest("a[data-dash]")) { loadDash(); }
  });

  async function undo() {
    const answer = await window.fetch("/undo", { method: "POST" });
    const done = answer.ok ? (await answer.json()).done : null;
    if (done) { say("Taken back: " + done + "."); }
    look();
  }

  if (document.body) { begin(); } else { document.addEventListener("DOMContentLoaded", begin); }

  /* What was written and not kept yet waits in the tab. Of another study, opened at the same address, it is none. */
  function draftsOf(study) {
    const name = "setscrew study";
    if (window.sessionStorage.getItem(name) !== study) { window.sessionStorage.clear(); }
    window.sessionStorage.setItem(name, study);
  }

  function begin() {
    draftsOf(byId("main").dataset.study);
    if (byId("main").dataset.kind === "working") { loadDash(); }
    ask();
    window.setTimeout(figures.loadPlotlySoon, PATIENCE_MS);
    looking();
  }
})();
