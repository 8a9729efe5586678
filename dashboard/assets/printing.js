/* Printing any page: in light colours, with all figures drawn to the width of paper. Folded figures are opened; tables of
   numbers are not printed where people did not open them. Then the page is again as it was. The browser's own command
   prints what is there, opened and light. */
(function () {
  "use strict";
  const figures = window.setscrewFigures;
  const PATIENCE_MS = 20000;  /* for figures that are still worked out */
  let before = null;

  function prepare() {
    if (before) { return; }
    const folded = [...document.querySelectorAll("main details:not([open], .drawer)")];
    before = { theme: figures.theme(), folded: folded };
    document.documentElement.classList.add("printing");
    document.documentElement.dataset.theme = "light";
    for (const one of folded) { one.open = true; }
  }

  async function print() {
    prepare();
    await Promise.race([figures.all(), new Promise(function (resolve) { window.setTimeout(resolve, PATIENCE_MS); })]);
    window.print();
  }

  function restore() {
    if (!before) { return; }
    document.documentElement.classList.remove("printing");
    document.documentElement.dataset.theme = before.theme;
    for (const one of before.folded) { one.open = false; }
    before = null;
    figures.all();
  }

  window.addEventListener("beforeprint", prepare);
  window.addEventListener("afterprint", restore);
  document.addEventListener("click", function (event) { if (event.target.closest("#print")) { print(); } });
  document.addEventListener("keydown", function (event) {
    if ((event.ctrlKey || event.metaKey) && !event.shiftKey && !event.altKey && event.key === "p") {
      event.preventDefault();
      print();
    }
  });
})();
