"""The style of the page: light, dark and print; colours never speak alone."""

STYLE = """
:root{color-scheme:light dark;--page:#fbfbf9;--ink:#1c1f23;--soft:#5a6068;--line:#d4d7d9;--tint:#f1f2ef;
--accent:#0b5a86;--fail:#a8231c;--pass:#22683a;--open:#5a4791;--band:#8a8f94;
--m0:#0b5a86;--m1:#b04a12;--m2:#22683a;--m3:#7a3f8f;--m4:#6b5d00;--m5:#444}
@media (prefers-color-scheme:dark){:root{--page:#15181b;--ink:#e6e8ea;--soft:#a3abb3;--line:#3a4148;--tint:#23282d;
--accent:#7cc0ec;--fail:#ff8e84;--pass:#7fcf98;--open:#bdaaf3;--band:#8a8f94;
--m0:#7cc0ec;--m1:#f3a06c;--m2:#7fcf98;--m3:#d5a3ea;--m4:#d8c860;--m5:#ccc}}
*{box-sizing:border-box}
html{font:100%/1.5 "Source Sans 3","Segoe UI","Helvetica Neue","Liberation Sans",Arial,sans-serif}
body{margin:0;padding:0 1rem 3rem;background:var(--page);color:var(--ink);overflow-wrap:anywhere}
header,main{max-width:72rem}
h1{font-size:2.07rem;line-height:1.25;margin:0}
h2{font-size:1.44rem;line-height:1.25;margin:2.5rem 0 .75rem;padding-top:.75rem;border-top:2px solid var(--ink)}
h3{font-size:1.2rem;line-height:1.25;margin:0}
header{padding-top:2rem}
p{margin:.4rem 0;max-width:46rem}
ul{margin:.4rem 0;padding-left:1.3rem;max-width:60rem}
.soft{color:var(--soft);font-size:.8125rem}
:focus-visible{outline:3px solid var(--accent);outline-offset:2px}
section{margin:1rem 0;border-left:4px solid var(--line);padding-left:.75rem}
section.alarm{border-left-color:var(--fail)}
.scroll{overflow-x:auto;margin:.6rem 0}
table{border-collapse:collapse;font-size:.8125rem;width:100%}
caption{text-align:left;color:var(--soft);padding:.2rem 0}
th,td{text-align:left;vertical-align:top;padding:.35rem .8rem .35rem 0;min-width:7rem;
border-bottom:1px solid var(--line)}
thead th{vertical-align:bottom;border-bottom:1.5px solid var(--ink)}
th,td{overflow-wrap:break-word}
td.n,th.n{text-align:right;font-variant-numeric:tabular-nums;white-space:nowrap}
details table,figure table{width:auto}
.v-fails,.v-fail,.v-error,.v-conditional-fail,.v-invalid-run,.v-flaky{color:var(--fail);font-weight:600}
.v-passes,.v-pass,.v-conditional-pass{color:var(--pass)}
.v-untestable,.v-not-applicable,.v-none{color:var(--soft);font-style:italic}
.v-nothing,.v-self-referential,.v-inconclusive,.v-deferred,.v-blocked{color:var(--open)}
figure{margin:1.5rem 0;max-width:46rem}
figcaption{font-weight:600}
summary{cursor:pointer;padding:.3rem 0}
.legend{list-style:none;padding:0;display:flex;flex-wrap:wrap;gap:.2rem 1.2rem;font-size:.8125rem}
svg.key{width:2.5rem;height:.875rem;vertical-align:-.1em}
svg.plot{display:block;width:100%;height:auto;font-size:12px}
svg text{fill:var(--ink)}
.grid{stroke:var(--line);fill:none}
.axis{stroke:var(--ink);fill:none}
.c{fill:none;stroke-width:2}
.k{stroke-width:1.6;fill:var(--page)}
.at{font-weight:700}
.band,.swatch{fill:var(--band);fill-opacity:.35}
.span{stroke:var(--band);stroke-width:3;fill:none}
.swatch{display:inline-block;width:1.2rem;height:.7rem;background:var(--band);opacity:.6}
.m0{stroke:var(--m0)}.m1{stroke:var(--m1)}.m2{stroke:var(--m2)}.m3{stroke:var(--m3)}.m4{stroke:var(--m4)}
.m5{stroke:var(--m5)}
text.at{stroke:none}
@media print{:root{--page:#fff;--ink:#000;--soft:#333;--line:#bbb;--band:#888}
body{padding:0}.scroll{overflow:visible}figure,tr,section{break-inside:avoid}}
"""
