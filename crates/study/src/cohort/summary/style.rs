//! The page's look: system fonts, no colour that means anything alone.

/// Style sheet.
pub(super) const STYLE: &str = "
:root{--ink:#1c2530;--soft:#5b6876;--line:#d5dbe1;--paper:#fff;--tint:#f3f6f8;--bar:#5f86a8;--mark:#b0562c}
@media (prefers-color-scheme:dark){:root{--ink:#e4e9ee;--soft:#9aa7b4;--line:#39434e;--paper:#161b21;--tint:#1e252d;--bar:#7fa6c9;--mark:#e59a6c}}
*{box-sizing:border-box}
body{margin:0 auto;padding:24px;max-width:1180px;background:var(--paper);color:var(--ink);font:15px/1.5 system-ui,sans-serif}
h1{font-size:24px;margin:0 0 4px}h2{font-size:18px;margin:36px 0 8px;border-bottom:1px solid var(--line);padding-bottom:4px}
h3{font-size:14px;margin:12px 0 2px;font-weight:600}
p,figcaption{color:var(--soft);margin:4px 0;max-width:75ch}
.caution{border:1px solid var(--mark);border-left-width:6px;padding:8px 12px;color:var(--ink);max-width:none}
.counts{display:flex;flex-wrap:wrap;gap:12px;margin:16px 0;padding:0}
.counts li{list-style:none;background:var(--tint);padding:8px 16px;min-width:130px}
.counts b{display:block;font-size:26px;line-height:1.2}
.plots{display:grid;grid-template-columns:repeat(auto-fill,minmax(260px,1fr));gap:8px 20px}
figure{margin:0}svg{width:100%;height:auto;display:block}
svg text{font-size:10px;fill:var(--soft)}.bar{fill:var(--bar)}.axis{fill:none;stroke:var(--soft)}
.mark{stroke:var(--mark);stroke-dasharray:2 2}.middle{stroke-dasharray:none;stroke-width:1.6}
.zero{stroke:var(--soft);stroke-dasharray:4 3}.point{fill:var(--bar);fill-opacity:.45}
.median{fill:none;stroke:var(--mark);stroke-width:1.6}
.scroll{overflow-x:auto}table{border-collapse:collapse;margin:6px 0;font-variant-numeric:tabular-nums}
th,td{padding:3px 10px;text-align:right;border-bottom:1px solid var(--line);white-space:nowrap}
th{font-weight:600;color:var(--soft)}td.t,th.t{text-align:left}td.w{white-space:normal;text-align:left}
meter{width:110px;vertical-align:middle}code{font-size:13px}
input,select,button{font:inherit;padding:4px 8px;border:1px solid var(--line);background:var(--paper);color:var(--ink)}
.tools{display:flex;flex-wrap:wrap;gap:8px;margin:8px 0;align-items:center}a{color:inherit}
.bars{display:flex;height:16px;width:260px;background:var(--tint)}.bars i{display:block;height:100%;border-right:1px solid var(--paper);background:var(--bar)}
.bars i:nth-child(2){opacity:.75}.bars i:nth-child(3){opacity:.5}.bars i:nth-child(4){opacity:.3}.bars i:nth-child(5){opacity:.15}
@media print{.tools,#list{display:none}body{padding:0}}
";
