"""The look of the page: one style sheet for screen, phone and paper."""

CSS = """
:root{--ink:#1f2423;--soft:#4c5553;--line:#c9c6ba;--paper:#fffefb;--wash:#f3f0e6;--deep:#1d3d3a;--warn:#7a1f12}
*{box-sizing:border-box}
html{-webkit-text-size-adjust:100%}
body{margin:0;background:var(--paper);color:var(--ink);font:16px/1.5 Georgia,"Times New Roman",serif;
overflow-wrap:break-word}
h1,h2,h3,h4,nav,table,figure,.key,.note,.lead b{font-family:Arial,Helvetica,sans-serif}
a{color:#14418b}
.skip{position:absolute;left:-999px}.skip:focus{left:8px;top:8px;background:#fff;padding:8px}
header,main{max-width:1240px;margin:0 auto;padding:0 20px}
header{padding-top:22px;border-top:10px solid var(--deep)}
h1{font-size:1.75rem;line-height:1.2;margin:0 0 6px}
h2{font-size:1.3rem;line-height:1.25;margin:34px 0 8px;padding-top:10px;border-top:2px solid var(--deep);
color:var(--deep)}
h3{font-size:1rem;line-height:1.3;margin:18px 0 6px}
p,ul,ol{margin:0 0 10px;max-width:78ch}
ul,ol{padding-left:1.3em}
.by{color:var(--soft);font-size:.95rem}
.note{white-space:pre-line;border-left:4px solid var(--line);padding:2px 0 2px 12px;font-size:.92rem}
nav{margin:0 0 14px}nav b{font-size:.9rem}
nav ul{list-style:none;padding:4px 0;margin:0;display:flex;flex-wrap:wrap;gap:4px 18px;max-width:none;
font-size:.9rem}
.key{padding:0;list-style:none;display:flex;flex-wrap:wrap;gap:4px 20px;font-size:.95rem;max-width:none}
.key svg{width:38px;height:10px;vertical-align:middle;margin-right:4px}
.leads{display:grid;grid-template-columns:repeat(auto-fit,minmax(min(100%,380px),1fr));gap:0 14px}.lead h3{margin-top:0}
.lead{background:var(--wash);border:1px solid var(--line);border-left:8px solid var(--deep);padding:14px 18px;
margin:0 0 14px;
max-width:none}
.lead p{max-width:none}.lead p:first-of-type{font-size:1.25rem;line-height:1.35}.lead p:last-child{margin-bottom:0}
.warn{border:2px solid var(--warn);padding:10px 16px;margin:14px 0;max-width:none}
.warn h2{color:var(--warn);margin-top:0;border:0;padding:0}
.beside h2{font-size:1.05rem}.beside .fine h2{border:0;margin:10px 0 4px;padding:0}
.warn li,.warn p{font-size:.95rem}
.first{display:grid;grid-template-columns:minmax(0,1fr);gap:0 30px}
.two{display:grid;grid-template-columns:repeat(auto-fit,minmax(min(100%,420px),1fr));gap:0 28px}
.plots{display:grid;grid-template-columns:repeat(auto-fit,minmax(min(100%,340px),1fr));gap:22px 26px;margin:10px 0}
figure{margin:0;max-width:430px;break-inside:avoid}
figure h3{margin:0 0 2px}
figcaption{font-size:.8rem;line-height:1.4;color:var(--soft)}
.plot{display:block;width:100%;height:auto;font-family:Arial,Helvetica,sans-serif}
.plot *{stroke-linejoin:round;stroke-linecap:butt}
table{border-collapse:collapse;font-size:.84rem;line-height:1.35;margin:10px 0 18px;width:100%;
font-variant-numeric:tabular-nums}
caption{text-align:left;font-size:.84rem;color:var(--soft);padding-bottom:4px}
th,td{padding:3px 6px;border-bottom:1px solid var(--line);text-align:right;vertical-align:top;min-width:0}
th:first-child,.texts th,.texts td{text-align:left}
.bands{width:auto;min-width:min(100%,660px)}.bands th,.bands td{text-align:left;padding-right:18px}
thead th{border-bottom:2px solid var(--deep);vertical-align:bottom;font-weight:700}
tbody th{font-weight:600}
.texts tbody th{min-width:6.2em}
.years td{white-space:nowrap}.years tr:not(.range) td{border-bottom:0;padding-bottom:0}.years .range td{padding-top:0}
.range,.range td{font-size:.94em;color:var(--soft)}td.range{padding-left:0}
code,pre{font-family:"Courier New",monospace;font-size:.86rem;white-space:pre-wrap;overflow-wrap:anywhere}
.fine{font-size:.85rem;line-height:1.4}
.fine ul{padding-left:1.1em}.fine li{margin:0 0 3px;break-inside:avoid}
.columns{columns:3 300px;column-gap:28px;max-width:none}
dl{max-width:none;margin:0}dt{font-weight:700;float:left;clear:left;margin-right:.5em}dd{margin:0 0 3px}
main{padding-bottom:30px}h4{font-size:.95rem;margin:12px 0 4px}
.swipe{display:none}
@media(max-width:520px){
.swipe{display:block;margin:8px 0 -6px;font:.78rem Arial,Helvetica,sans-serif;color:var(--soft)}
.wide{overflow-x:auto;background:linear-gradient(90deg,var(--paper) 30%,transparent) 0 0/40px 100% local no-repeat,
linear-gradient(270deg,var(--paper) 30%,transparent) 100% 0/40px 100% local no-repeat,
linear-gradient(90deg,#0003,transparent) 0 0/14px 100% scroll no-repeat,
linear-gradient(270deg,#0003,transparent) 100% 0/14px 100% scroll no-repeat}
header,main{padding-left:14px;padding-right:14px}
h1{font-size:1.4rem}
table{font-size:.74rem}th,td{padding:3px 3px}
.texts tbody th{min-width:4.6em}
.bands th,.bands td{padding-right:3px}
}
@media(min-width:1000px){.first{grid-template-columns:minmax(0,1fr) 370px;align-items:start}
.first .warn{margin-top:34px}}
@media print{
@page{size:letter;margin:11mm 13mm}
body{font-size:9pt;line-height:1.35;background:#fff}
header,main{max-width:none;padding:0}
nav,.skip{display:none}
header{border-top-width:5px;padding-top:8px}
h1{font-size:15pt}h2{font-size:12pt;margin:12px 0 5px;padding-top:5px;break-after:avoid}
h3{font-size:9.5pt;margin:8px 0 3px;break-after:avoid}
p,ul,ol{max-width:none;margin-bottom:5px}
.leads{display:block}.lead{padding:7px 12px}.lead p{font-size:9.5pt}.lead p:first-of-type{font-size:12pt}
.plots,.two{orphans:1;widows:1}
.plots{display:block;margin:4px 0}
figure{display:inline-block;vertical-align:top;width:46.5%;max-width:none;margin:0 3% 7px 0}
figcaption{font-size:7pt;line-height:1.3}
table{font-size:7.4pt;line-height:1.25;margin:4px 0 8px}caption{font-size:7.4pt}th,td{padding:1.5px 3px}
tr,table:not(.long){break-inside:avoid}
caption{break-inside:avoid}caption,thead{break-after:avoid}tbody tr:first-child{break-before:avoid}
thead{display:table-header-group}
.first{display:block}.first .warn ul{columns:2;column-gap:20px}
.two{display:block}.two figure{width:100%;margin:0}
.two>*{display:inline-block;vertical-align:top;width:48.5%;margin-right:1.2%}
.fine{font-size:7.2pt;line-height:1.25}.beside .fine{break-inside:avoid}.two li{font-size:8.2pt}
.fine dl{columns:2;column-gap:20px}dt{float:none;display:inline}dd{display:inline}
dd::after{content:"";display:block}.columns{columns:3;column-gap:14px}
.warn{padding:5px 10px;break-inside:avoid}.warn li,.warn p{font-size:8.6pt}
code,pre{font-size:7.6pt}
h4{font-size:8.6pt;margin:6px 0 2px}
a{color:inherit;text-decoration:none}
}
"""
