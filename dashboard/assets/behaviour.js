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

  /* Long tables come as the server's own HTML, which escapes every text, once they are in view. */
  const inView = new IntersectionObserver(function (entries) {
    for (const entry of entries) {
      const place = entry.target;
      if (!entry.isIntersecting || place.dataset.shown === place.dataset.source) { continue; }
      place.dataset.shown = place.dataset.source;
      fetch(place.dataset.source).then(function (answer) { return answer.ok ? answer.text() : ""; })
        .then(function (text) { place.innerHTML = text; });
    }
  });
  new MutationObserver(function () {
    for (const place of document.querySelectorAll(".served")) { inView.observe(place); }
  }).observe(document.documentElement, { childList: true, subtree: true });

  document.addEventListener("click", function (event) {
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
