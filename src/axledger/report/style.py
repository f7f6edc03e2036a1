"""The sheet's look: black on white, ruled tables, printable on A4. Shapes and words carry the meaning."""

from __future__ import annotations

__all__ = ["STYLE"]

STYLE = """
:root { color-scheme: light; }
body { font: 14px/1.4 system-ui, sans-serif; color: #111; background: #fff; margin: 1.5rem auto; max-width: 60rem;
  padding: 0 1rem; }
h1 { font-size: 1.5rem; margin: 0; }
h2 { font-size: 1.1rem; margin: 1.6rem 0 .4rem; border-bottom: 2px solid #111; }
h3 { font-size: 1rem; margin: 1rem 0 .3rem; }
table { border-collapse: collapse; width: 100%; margin: .4rem 0 .8rem; }
caption { text-align: left; color: #444; padding-bottom: .2rem; }
th, td { text-align: left; vertical-align: middle; padding: .15rem .5rem .15rem 0; border-bottom: 1px solid #bbb;
  overflow-wrap: anywhere; }
thead th { border-bottom: 1.5px solid #111; }
tbody th { font-weight: 600; }
.figure { font-variant-numeric: tabular-nums; white-space: nowrap; }
.results { table-layout: fixed; }
.results th, .results td { overflow-wrap: break-word; }
.results th:nth-child(1) { width: 14%; }
.results th:nth-child(2) { width: 19%; }
.results th:nth-child(3) { width: 12%; }
.results th:nth-child(4) { width: 15%; }
.results th:nth-child(5) { width: 14%; }
.results th:nth-child(6) { width: 10%; }
.readings { font-size: 12px; }
.loud { border: 3px double #111; padding: .5rem .8rem; font-weight: 700; margin: .8rem 0; }
.small { color: #444; font-size: 12px; }
.mark { vertical-align: -1px; margin-right: .3rem; }
code { font: 12px/1.3 ui-monospace, monospace; overflow-wrap: anywhere; }
svg.plan { max-width: 100%; height: auto; }
ul { margin: .3rem 0; padding-left: 1.2rem; }
@page { size: A4; margin: 12mm; }
@media print {
  body { font-size: 10pt; margin: 0; max-width: none; padding: 0; }
  thead { display: table-header-group; }
  tr, svg, .loud { break-inside: avoid; }
  h2, h3, caption { break-after: avoid; }
}
"""
