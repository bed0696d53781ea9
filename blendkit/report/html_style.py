"""Style and script of the HTML report: plain, readable in print, no network."""

STYLE = """
body{font:15px/1.45 system-ui,sans-serif;max-width:1240px;margin:1.5em auto;padding:0 1em;
 color:#141414}
h1{font-size:1.5em}h2{font-size:1.15em;margin-top:1.6em}
#stage{position:relative;width:100%;overflow:hidden;background:#ddd}
#stage img{position:absolute;left:0;top:0;width:100%;height:100%}
#line{position:absolute;top:0;bottom:0;width:2px;background:#fff;box-shadow:0 0 2px #000}
#wipe{width:22em;max-width:60vw;vertical-align:middle}
table{border-collapse:collapse;width:100%}
th,td{text-align:left;vertical-align:top;padding:.3em .6em}
tr{border-bottom:1px solid #ccc}
tr.fail td:first-child{border-left:8px double #d55e00}
tr.warn td:first-child{border-left:8px solid #e69f00}
tr.note td:first-child{border-left:8px dotted #56b4e9}
.small{color:#555;font-size:.88em}svg{width:100%;height:auto}
"""

SCRIPT = """
const byName=n=>
 [...document.querySelectorAll('[data-view]')].find(i=>i.dataset.view===n).src;
const left=document.getElementById('left'),right=document.getElementById('right');
const line=document.getElementById('line'),wipe=document.getElementById('wipe');
function show(){for(const s of document.querySelectorAll('select'))
 (s.dataset.side==='left'?left:right).src=byName(s.value);}
function cut(){left.style.clipPath='inset(0 '+(100-wipe.value)+'% 0 0)';
 line.style.left=wipe.value+'%';}
document.querySelectorAll('select').forEach(s=>s.addEventListener('change',show));
wipe.addEventListener('input',cut);show();cut();
"""
