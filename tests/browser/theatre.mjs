// The theatre page as text (poppler's pdftotext): every hole's length to order
// and purchase, the planned length where it is another, the kit, and the
// caution on every page are those of report.json.
import { execFileSync } from "node:child_process";
import { existsSync, readFileSync } from "node:fs";
import { dirname, join, resolve } from "node:path";

const problems = [];
let walked = 0;
const stocked = (mm) => String(mm);
// Half away from zero, as docs/report.md states.
const tenth = (mm) => ((Math.sign(mm) * Math.round(Math.abs(mm) * 10)) / 10).toFixed(1).replace("-", "\u2212");
const has = (line, word) => line.split(/\s+/).includes(word);

function walk(pdf, report) {
  const text = execFileSync("pdftotext", ["-layout", pdf, "-"], { encoding: "utf8" });
  const pages = text.split("\f").filter((page) => page.trim());
  for (const [index, page] of pages.entries()) {
    if (!/not a medical device/.test(page.replace(/\s+/g, " "))) problems.push(`page ${index + 1} lacks the caution`);
  }
  const steps = (report.order ?? []).map((s) => s.hole);
  const order = [...steps, ...report.holes.map((h) => h.id).filter((id) => !steps.includes(id))];
  const lines = text.split("\n");
  for (const [index, id] of order.entries()) {
    const hole = report.holes.find((h) => h.id === id);
    // A row begins with its place in the order and the start of its id.
    // One that is not filled has a dash.
    const place = index < steps.length ? index + 1 : "\u2013";
    const start = new RegExp(`^\\s*${place}\\s+${id.slice(0, 5).replace(/[.*+?^${}()|[\]\\]/g, "\\$&")}`);
    const at = lines.findIndex((line) => start.test(line));
    if (at < 0) { problems.push(`no row for hole ${index + 1}`); continue; }
    // Texts of one row may stand a line apart; another hole's row is not it.
    const isRow = (line) => /^\s*(\d+|\u2013)\s+\S/.test(line);
    const near = [-2, -1, 0, 1, 2].filter((d) => d === 0 || !isRow(lines[at + d] ?? "")).map((d) => lines[at + d] ?? "").join(" ");
    const wanted = [hole.length_mm === null ? "leave" : stocked(hole.length_mm), hole.purchase];
    if (hole.purchase_mm !== null) wanted.push(tenth(hole.purchase_mm));
    for (const word of wanted) { walked++; if (!has(near, word)) problems.push(`hole ${index + 1}: ${word} is not in its row`); }
    const differs = hole.planned_length_mm !== null && hole.planned_length_mm !== hole.length_mm;
    if (differs) { walked++; if (!near.includes(`planned ${stocked(hole.planned_length_mm)}`)) problems.push(`hole ${index + 1}: its planned length is not said`); }
  }
  // The lists below the holes: a line a screw, a number a piece, and behind it the mark of a screw to beware of.
  const marking = ["side.breach", "length.end_doubtful", "path.border_guessed"];
  const isMarked = (id) =>
    (report.set?.access ?? []).some((a) => a.hole === id && !a.clear) ||
    (report.set?.clash ?? []).some((c) => c.a === id || c.b === id) ||
    report.findings.some((f) => f.hole === id && marking.includes(f.code));
  for (const [heading, ends, pieces] of [["On the table", "Spares at hand", report.kit], ["Spares at hand", "Decision support", report.spares]]) {
    const from = lines.findIndex((line) => line.trim() === heading);
    const until = lines.findIndex((line, at) => at > from && line.trim().startsWith(ends));
    if (from < 0 || until < 0) { problems.push(`no list "${heading}"`); continue; }
    const listed = lines.slice(from + 1, until).map((line) => line.trim());
    for (const { screw, length_mm, count, holes } of pieces ?? []) {
      walked++;
      const own = listed.filter((line) => line.startsWith(`${screw}  `)).flatMap((line) => [...line.slice(screw.length).matchAll(/(\S+)( !)?/g)]);
      const same = own.filter((cell) => cell[1] === stocked(length_mm));
      const found = same.length;
      const marks = same.filter((cell) => cell[2]).length;
      const wanted = pieces === report.kit ? holes.filter(isMarked).length : 0;
      if (marks !== wanted) problems.push(`${heading}: ${marks} of ${screw}, ${length_mm} mm, are marked, where ${wanted} should be`);
      if (found !== count) problems.push(`${heading}: ${found} of ${screw}, ${length_mm} mm, where ${count} are asked`);
    }
  }
}

for (const page of process.argv.slice(2)) {
  const beside = (name) => join(dirname(resolve(page)), name);
  if (existsSync(beside("theatre.pdf"))) walk(beside("theatre.pdf"), JSON.parse(readFileSync(beside("report.json"), "utf8")));
}
if (problems.length) {
  console.error(problems.map((p) => `failed: theatre.pdf: ${p}`).join("\n"));
  process.exit(1);
}
console.log(`theatre.pdf: ${walked} numbers and words are those of report.json`);
