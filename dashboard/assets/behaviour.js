/* The few things that only the browser can do: the theme, and saving a figure as it stands. */
(function () {
  "use strict";
  const prefersDark = window.matchMedia("(prefers-color-scheme: dark)");

  function applied(choice) {
    const theme = choice === "light" || choice === "dark" ? choice : prefersDark.matches ? "dark" : "light";
    document.documentElement.setAttribute("data-theme", theme);
    return theme;
  }

  function remembered() {
    try { return JSON.parse(window.localStorage.getItem("theme-choice")); } catch (error) { return null; }
  }
  applied(remembered());

  window.dash_clientside = Object.assign({}, window.dash_clientside, {
    setscrew: {
      theme: function (choice) { return applied(choice); },
      otherTheme: function (clicks, choice) {
        if (!clicks) { return window.dash_clientside.no_update; }
        return applied(choice) === "dark" ? "light" : "dark";
      },
      clearedLater: function (content) {
        if (content) {
          window.clearTimeout(window.setscrewMessage);
          window.setscrewMessage = window.setTimeout(function () {
            window.dash_clientside.set_props("message", { children: null });
          }, 8000);
        }
        return window.dash_clientside.no_update;
      }
    }
  });

  /* Long tables and figures are fetched once they are in view, and again when their address changes. Tables come as
     the server's own HTML, in which every text is escaped. */
  const settings = { displaylogo: false, displayModeBar: false, showSendToCloud: false, responsive: true };
  const wanted = new WeakMap();

  function plotlyReady() {
    return new Promise(function (resolve) {
      (function look() { if (window.Plotly) { resolve(window.Plotly); } else { window.setTimeout(look, 20); } })();
    });
  }

  async function fill(place) {
    const address = place.dataset.figure || place.dataset.source;
    if (wanted.get(place) === address) { return; }
    wanted.set(place, address);
    try {
      const answer = await window.fetch(address);
      if (!answer.ok || wanted.get(place) !== address) { return; }
      if (place.dataset.source) {
        place.innerHTML = await answer.text();
        return;
      }
      const figure = await answer.json();
      const Plotly = await plotlyReady();
      if (wanted.get(place) !== address || !place.isConnected) { return; }
      place.style.height = figure.layout.height + "px";
      await Plotly.react(place, figure.data, figure.layout, settings);
      place.dataset.drawn = address;
    } catch (error) {
      wanted.delete(place);  /* the server is gone or the page was left; the next look tries again */
    }
  }

  const inView = new IntersectionObserver(function (entries) {
    for (const entry of entries) {
      entry.target.dataset.inView = entry.isIntersecting ? "1" : "";
      if (entry.isIntersecting) { fill(entry.target); }
    }
  }, { rootMargin: "250px" });
  const places = "[data-figure], [data-source]";
  new MutationObserver(function (changes) {
    for (const chooser of document.querySelectorAll("input[type=file]:not([aria-label])")) {
      chooser.setAttribute("aria-label", "Choose play logs");
    }
    for (const change of changes) {
      if (change.type === "attributes") {
        if (change.target.dataset.inView) { fill(change.target); }
        continue;
      }
      for (const node of change.addedNodes) {
        if (node.nodeType !== 1 || node.namespaceURI !== "http://www.w3.org/1999/xhtml") { continue; }
        if (node.matches(places)) { inView.observe(node); }
        for (const place of node.querySelectorAll(places)) { inView.observe(place); }
      }
    }
  }).observe(document.documentElement, {
    childList: true, subtree: true, attributes: true, attributeFilter: ["data-figure", "data-source"]
  });

  /* An open list of the filter bar closes when something else is pressed, or with Escape. */
  function closeLists(except) {
    for (const list of document.querySelectorAll("details.pick[open]")) { if (list !== except) { list.open = false; } }
  }
  document.addEventListener("keydown", function (event) {
    const list = event.key === "Escape" && event.target.closest("details.pick[open]");
    if (list) { list.open = false; list.querySelector("summary").focus(); }
  });

  document.addEventListener("click", function (event) {
    closeLists(event.target.closest("details.pick"));
    const button = event.target.closest(".save-figure");
    if (!button) { return; }
    const drawing = button.closest(".card").querySelector(".js-plotly-plot");
    if (!drawing || !window.Plotly) { return; }
    const box = drawing.getBoundingClientRect();
    window.Plotly.downloadImage(drawing, {
      format: button.dataset.format, filename: button.dataset.name, width: Math.round(box.width),
      height: Math.round(box.height), scale: button.dataset.format === "png" ? 2 : 1
    });
  });
})();
