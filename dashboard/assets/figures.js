/* Figures and long tables: fetched once they are in view, and again when their address or the theme changes; and saving
   a figure as it stands. Tables come as the server's own HTML, in which every text is escaped. */
(function () {
  "use strict";
  const settings = { displaylogo: false, displayModeBar: false, showSendToCloud: false, responsive: true };
  const places = "[data-figure], [data-source]";
  const wanted = new WeakMap();
  const leading = new WeakSet();  /* figures that open something when pressed */
  const prefersDark = window.matchMedia("(prefers-color-scheme: dark)");
  const apart = document.implementation.createHTMLDocument("");  /* nothing in it is fetched or run */
  let brought = {};  /* figures that came along with the page, by address with theme */

  function remembered() {
    try { return JSON.parse(window.localStorage.getItem("theme-choice")); } catch (error) { return null; }
  }

  function theme() { return document.documentElement.dataset.theme; }

  function applyTheme(choice) {
    document.documentElement.dataset.theme =
      choice === "light" || choice === "dark" ? choice : prefersDark.matches ? "dark" : "light";
  }
  applyTheme(remembered());

  function otherTheme() {
    const next = theme() === "dark" ? "light" : "dark";
    applyTheme(next);
    try { window.localStorage.setItem("theme-choice", JSON.stringify(next)); } catch (error) { /* it lasts until the page is left */ }
    refill();
  }

  function refill() {
    for (const place of document.querySelectorAll(places)) { if (place.dataset.inView) { fill(place); } }
  }

  /* As wide as the rail stands beside the page (style.css): panels of a figure fit side by side. */
  const wide = window.matchMedia("(min-width: 62rem)");
  wide.addEventListener("change", refill);

  function form() { return "theme=" + theme() + (wide.matches ? "" : "&narrow=1"); }

  function themed(address) { return address + (address.includes("?") ? "&" : "?") + form(); }

  /* plotly.js comes early and is read late: reading it stops the browser for longer than all the rest takes. */
  let plotly = null;
  function plotlyReady() {
    plotly = plotly || new Promise(function (resolve, reject) {
      const script = document.createElement("script");
      script.src = document.querySelector("link[data-plotly]").href;
      script.addEventListener("load", function () { resolve(window.Plotly); });
      script.addEventListener("error", function () { plotly = null; reject(new Error("no plotly.js")); });
      document.head.append(script);
    });
    return plotly;
  }

  /* Figures are drawn one after the other, and the browser may paint in between: the first is not held up by the rest. */
  let turn = Promise.resolve();
  function inTurn(draw) {
    const mine = turn.then(draw);
    const pause = function () { return new Promise(function (resolve) { window.setTimeout(resolve); }); };
    turn = mine.then(pause, pause);
    return mine;
  }

  /* The answer's figure is large, those beside it are small. */
  const LEAST = 300, MOST_BESIDE = 230, MOST_ABOVE = 260;
  function fit(place, layout) {
    if (place.closest(".lead")) { layout.height = Math.max(layout.height, LEAST); }
    if (place.closest(".beside")) {
      layout.height = Math.min(layout.height, Math.max(MOST_BESIDE, (layout.meta && layout.meta.least) || 0));
    }
    /* What was opened stands below it, in the same view. */
    if (place.closest(".above")) { layout.height = Math.min(layout.height, MOST_ABOVE); }
    /* A screen is no higher than its width lets it be. */
    if (layout.meta && layout.meta.aspect) {
      const around = layout.margin.t + layout.margin.b;
      layout.height = Math.min(layout.height, Math.round(place.clientWidth / layout.meta.aspect) + around);
    }
  }

  async function fill(place) {
    const address = place.dataset.figure ? themed(place.dataset.figure) : place.dataset.source;
    if (wanted.get(place) === address) { return; }
    wanted.set(place, address);
    try {
      let figure = brought[address];
      if (!figure) {
        const answer = await window.fetch(address);
        if (!answer.ok || wanted.get(place) !== address) { return; }
        if (place.dataset.source) {
          place.innerHTML = await answer.text();
          const chosen = place.querySelector("[aria-current]");
          if (chosen) { chosen.scrollIntoView({ block: "center" }); }
          return;
        }
        figure = await answer.json();
      }
      const Plotly = await plotlyReady();
      await document.fonts.ready;  /* texts are measured when a figure is drawn */
      const drawn = await inTurn(function () {
        if (wanted.get(place) !== address || !place.isConnected) { return null; }
        fit(place, figure.layout);
        place.style.height = figure.layout.height + "px";
        return Plotly.react(place, figure.data, figure.layout, settings);
      });
      if (!drawn || wanted.get(place) !== address) { return; }
      place.dataset.drawn = address;
      if (figure.layout.meta && figure.layout.meta.opens && !leading.has(place)) {
        leading.add(place);
        place.dataset.leads = "1";
        place.on("plotly_click", function (event) { open(place.layout.meta.opens, event.points[0].customdata); });
      }
    } catch (error) {
      wanted.delete(place);  /* the server is gone or the page was left; the next look tries again */
    }
  }

  /* Follows a link to this page on which `value` is open under `name`, and nothing else is. */
  function open(name, value) {
    if (!value) { return; }
    const search = new URLSearchParams(window.location.search);
    for (const other of ["place", "death"]) { search.delete(other); }
    search.set(name, value);
    const link = Object.assign(document.createElement("a"), { href: "?" + search });
    document.body.append(link);
    link.click();
    link.remove();
  }

  const inView = new IntersectionObserver(function (entries) {
    for (const entry of entries) {
      entry.target.dataset.inView = entry.isIntersecting ? "1" : "";
      if (entry.isIntersecting) { fill(entry.target); }
    }
  }, { rootMargin: "250px" });

  /* Makes what is in a place like `text`, HTML of the server's templates, in which every text is escaped. Elements that
     both have are kept (morphdom): lists stay open, the focus where it is, figures change instead of
     being drawn anew. */
  function put(place, text) {
    const fresh = apart.importNode(place, false);
    fresh.innerHTML = text;
    window.morphdom(place, fresh, {
      childrenOnly: true,
      getNodeKey: function (node) { return node.nodeType === 1 ? node.dataset.key || node.id : undefined; },
      onBeforeElUpdated: function (old, next) {
        if (old.open) { next.open = true; }
        if (!old.matches(places)) { return true; }
        /* What is in it, its class and its height are of what was drawn there. */
        for (const one of next.attributes) {
          if (one.name !== "class" && old.getAttribute(one.name) !== one.value) { old.setAttribute(one.name, one.value); }
        }
        return false;
      }
    });
  }

  new MutationObserver(function (changes) {
    for (const chooser of document.querySelectorAll("input[type=file]:not([aria-label])")) {
      chooser.setAttribute("aria-label", "Choose play logs");
    }
    for (const change of changes) {
      if (change.attributeName === "data-html") {
        put(change.target, change.target.dataset.html);
        continue;
      }
      if (change.type === "attributes") {
        if (change.target.dataset.inView) { fill(change.target); }
        continue;
      }
      for (const node of change.addedNodes) {
        if (node.nodeType !== 1 || node.namespaceURI !== "http://www.w3.org/1999/xhtml") { continue; }
        if (node.matches("[data-html]")) { put(node, node.dataset.html); }
        for (const place of node.querySelectorAll("[data-html]")) { put(place, place.dataset.html); }
        if (node.matches(places)) { inView.observe(node); }
        for (const place of node.querySelectorAll(places)) { inView.observe(place); }
      }
      for (const node of change.removedNodes) {
        if (node.nodeType !== 1 || !window.Plotly || node.isConnected) { continue; }
        const gone = node.matches(".js-plotly-plot") ? [node] : node.querySelectorAll(".js-plotly-plot");
        for (const drawing of gone) { window.Plotly.purge(drawing); }
      }
    }
  }).observe(document.documentElement, {
    childList: true, subtree: true, attributes: true, attributeFilter: ["data-figure", "data-source", "data-html"]
  });

  document.addEventListener("click", function (event) {
    const button = event.target.closest(".save-figure");
    const drawing = button && button.closest(".card").querySelector(".js-plotly-plot");
    if (!drawing || !window.Plotly) { return; }
    const box = drawing.getBoundingClientRect();
    window.Plotly.downloadImage(drawing, {
      format: button.dataset.format, filename: button.dataset.name, width: Math.round(box.width),
      height: Math.round(box.height), scale: button.dataset.format === "png" ? 2 : 1
    });
  });

  window.setscrewFigures = {
    places: places,
    theme: theme,
    form: form,
    put: put,
    otherTheme: otherTheme,
    /* Fills every place of the page that can be seen, in the theme and at the width it has now; done once all are. */
    all: async function () {
      const seen = [...document.querySelectorAll(places)].filter(function (one) { return one.offsetParent !== null; });
      await Promise.all(seen.map(fill));
      const waits = function (one) { return one.dataset.figure && one.dataset.drawn !== themed(one.dataset.figure); };
      for (let i = 0; i < 100 && seen.some(waits); i += 1) {
        await new Promise(function (resolve) { window.setTimeout(resolve, 100); });
      }
      for (const one of seen) { if (one.matches(".js-plotly-plot")) { await window.Plotly.Plots.resize(one); } }
    },
    /* Reads plotly.js once what is on the page has been painted. */
    loadPlotlySoon: function () {
      window.requestAnimationFrame(function () { window.setTimeout(plotlyReady); });
    },
    /* Takes figures (address -> figure) that came with the page, and draws those that stand on it. */
    bring: function (figures) {
      brought = {};
      for (const address of Object.keys(figures)) { brought[themed(address)] = figures[address]; }
      for (const place of document.querySelectorAll("[data-figure]")) {
        if (brought[themed(place.dataset.figure)]) { fill(place); }
      }
    }
  };
})();
