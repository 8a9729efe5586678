"""How the report looks, on screen and on paper."""

from dashboard.palette import LIGHT

STYLE = f"""
@page {{ size: A4; margin: 18mm 17mm 20mm; @bottom-right {{ content: counter(page); font: 9pt sans-serif; }} }}
* {{ box-sizing: border-box; }}
body {{ margin: 0 auto; max-width: 46rem; padding: 2rem 1.25rem 4rem; color: {LIGHT.ink}; background: #fff;
  font: 15px/1.5 system-ui, "Segoe UI", "Noto Sans", "DejaVu Sans", sans-serif; font-variant-numeric: tabular-nums; }}
h1 {{ font-size: 1.7rem; line-height: 1.2; margin: 0 0 .3rem; letter-spacing: -.01em; }}
h2 {{ font-size: 1.25rem; margin: 2.2rem 0 .6rem; padding-top: .5rem; border-top: 2px solid {LIGHT.ink};
  break-after: avoid; }}
h3 {{ font-size: 1.02rem; margin: 1.4rem 0 .3rem; break-after: avoid; }}
h4 {{ font-size: .95rem; margin: 1.2rem 0 .2rem; color: {LIGHT.soft}; font-weight: 600; break-after: avoid; }}
p {{ margin: .35rem 0; overflow-wrap: anywhere; }}
a {{ color: {LIGHT.accent}; }}
nav ol {{ columns: 2; padding-left: 1.3rem; font-size: .92rem; }}
.authors {{ color: {LIGHT.soft}; margin: 0; }}
.small, figcaption, caption {{ font-size: .84rem; color: {LIGHT.soft}; }}
.gap {{ border-left: 3px solid {LIGHT.late}; padding-left: .6rem; color: {LIGHT.soft}; }}
.warning {{ border-left: 3px solid {LIGHT.late}; padding: .15rem .6rem; font-size: .9rem;
  background: #fbf0dc; break-after: avoid; break-inside: avoid; }}
.columns {{ display: grid; grid-template-columns: minmax(0, 1fr) minmax(0, 1fr); gap: 1rem 1.6rem; }}
.columns > article {{ break-inside: avoid; }}
.columns > article:has(table) {{ break-inside: auto; }}
.columns > article > h4 {{ margin-top: 0; }}
.columns > .wide {{ grid-column: 1 / -1; }}
figure {{ margin: .5rem 0; break-inside: avoid; }}
article > p {{ orphans: 3; widows: 3; }}
figure img, figure .plot {{ width: 100%; height: auto; display: block; }}
.table {{ overflow-x: auto; }}
table {{ min-width: 60%; border-collapse: collapse; font-size: .84rem; margin: .6rem 0; break-inside: auto; }}
tr {{ break-inside: avoid; }}
caption {{ text-align: left; padding-bottom: .2rem; break-after: avoid; }}
thead {{ break-after: avoid; }}
th, td {{ text-align: left; padding: .18rem .9rem .18rem 0; border-bottom: 1px solid {LIGHT.rule};
  vertical-align: top; overflow-wrap: break-word; }}
td.long {{ overflow-wrap: anywhere; }}
th {{ border-bottom-color: {LIGHT.soft}; font-weight: 600; }}
.num {{ text-align: right; white-space: nowrap; }}
@media (max-width: 44rem) {{ .columns {{ grid-template-columns: minmax(0, 1fr); }} }}
code {{ font: .86em ui-monospace, "DejaVu Sans Mono", monospace; overflow-wrap: anywhere; }}
pre {{ background: #f4f3ef; padding: .6rem .8rem; font: .82rem/1.4 ui-monospace, "DejaVu Sans Mono", monospace;
  white-space: pre-wrap; overflow-wrap: anywhere; break-inside: avoid; }}
.sources {{ font-size: .88rem; }}
@media print {{ body {{ padding: 0; max-width: none; font-size: 10.2pt; }} a {{ color: inherit;
  text-decoration: none; }} .table {{ overflow: visible; }}
  /* Rows of a grid would leave half a page empty where the next does not fit; columns fill up. */
  .columns {{ display: block; columns: 2; column-gap: 1.6rem; }} .columns > .wide {{ column-span: all; }}
  .columns > article {{ margin-bottom: 1rem; }} }}
"""
