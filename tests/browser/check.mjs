// A reader's look at a report: does it open in silence, does the view turn, do
// table and view agree, is it accessible, does nothing overlap.
import { mkdirSync, readFileSync } from "node:fs";
import { createRequire } from "node:module";
import { basename, dirname, join, resolve } from "node:path";
import { pathToFileURL } from "node:url";
import { chromium } from "playwright-core";
import { canvasLook, crowding } from "./inside.mjs";

const axe = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
const WIDTHS = [390, 1024, 1600];
const FLAGS = [
  "--no-sandbox", "--disable-quic", "--no-first-run", "--disable-background-networking",
  "--disable-component-update", "--disable-sync", "--enable-unsafe-swiftshader",
];
const shots = process.env.SHOTS;
if (shots) mkdirSync(shots, { recursive: true });
const failures = [];
let checks = 0;
function expect(holds, what) {
  checks++;
  if (!holds) failures.push(what);
}

async function open(browser, url, options) {
  const context = await browser.newContext(options);
  const page = await context.newPage();
  page.setDefaultTimeout(120_000);
  const noise = [];
  page.on("console", (m) => { if (["error", "warning"].includes(m.type()) && !/GPU stall|swiftshader/i.test(m.text())) noise.push(m.text()); });
  page.on("pageerror", (e) => noise.push(String(e)));
  await context.route("**/*", (route) => {
    const asked = route.request().url();
    if (asked === url || asked.startsWith("data:")) return route.continue();
    noise.push(`asked the network for ${asked}`);
    return route.abort();
  });
  await page.goto(url, { waitUntil: "load" });
  return { page, noise, context };
}

async function turns(page, name) {
  const first = await page.evaluate(canvasLook);
  expect(first && first.share > 0.02 && first.error === 0, `${name}: the view draws ${JSON.stringify(first)}`);
  const canvas = page.locator(".turning canvas");
  await canvas.focus();
  for (let i = 0; i < 4; i++) await page.keyboard.press("ArrowLeft");
  await page.waitForTimeout(150);
  const byKey = await page.evaluate(canvasLook);
  expect(byKey.sum !== first.sum, `${name}: the view turns by keyboard`);
  const box = await canvas.boundingBox();
  await page.mouse.move(box.x + box.width / 2, box.y + box.height / 2);
  await page.mouse.down();
  await page.mouse.move(box.x + box.width / 2 + 80, box.y + box.height / 2 + 30, { steps: 5 });
  await page.mouse.up();
  await page.waitForTimeout(150);
  const byMouse = await page.evaluate(canvasLook);
  expect(byMouse.sum !== byKey.sum, `${name}: the view turns by mouse`);
  for (const view of ["Anterior", "Superior", "Medial"]) {
    await page.getByRole("button", { name: view, exact: true }).click();
    await page.waitForTimeout(100);
    const look = await page.evaluate(canvasLook);
    expect(look.share > 0.02, `${name}: ${view} draws`);
  }
}

// Fingers, as the browser gets them from a screen: one turns, two zoom.
async function touches(browser, url, name) {
  const { page, noise, context } = await open(browser, url, { viewport: { width: 390, height: 900 }, hasTouch: true });
  const hand = await context.newCDPSession(page);
  const fingers = (type, places) => hand.send("Input.dispatchTouchEvent", {
    type, touchPoints: places.map(([x, y], id) => ({ x, y, id })),
  });
  const canvas = page.locator(".turning canvas");
  await canvas.scrollIntoViewIfNeeded();
  const box = await canvas.boundingBox();
  const [x, y] = [box.x + box.width / 2, box.y + Math.min(box.height, 400) / 2];
  const looked = async () => { await page.waitForTimeout(150); return page.evaluate(canvasLook); };
  const first = await looked();
  await fingers("touchStart", [[x, y]]);
  for (let i = 1; i <= 5; i++) await fingers("touchMove", [[x + 16 * i, y + 4 * i]]);
  await fingers("touchEnd", []);
  const turned = await looked();
  expect(turned.sum !== first.sum, `${name}: the view turns by one finger`);
  const before = await page.evaluate(() => window.scrollY);
  await fingers("touchStart", [[x - 30, y], [x + 30, y]]);
  for (let i = 1; i <= 5; i++) await fingers("touchMove", [[x - 30 - 12 * i, y], [x + 30 + 12 * i, y]]);
  await fingers("touchEnd", []);
  const zoomed = await looked();
  expect(zoomed.sum !== turned.sum, `${name}: the view zooms by two fingers`);
  expect(await page.evaluate(() => window.scrollY) === before, `${name}: fingers on the view do not scroll the page`);
  expect(noise.length === 0, `${name} touched: ${noise.join("; ")}`);
  await context.close();
}

async function touchesWhereItTurns(browser, url, name) {
  if (readFileSync(new URL(url), "utf8").includes('id="turning"')) await touches(browser, url, name);
}

async function guides(page, name) {
  const button = page.getByRole("button", { name: "Guide sleeves", exact: true });
  if (await button.count() === 0) return;
  // From behind, bone hides them.
  await page.getByRole("button", { name: "Into the socket", exact: true }).click();
  await page.waitForTimeout(150);
  const without = await page.evaluate(canvasLook);
  await button.click();
  await page.waitForTimeout(150);
  const drawn = await page.evaluate(canvasLook);
  expect(drawn.sum !== without.sum, `${name}: the guides' sleeves are drawn`);
  expect(await page.locator(".tags span:visible", { hasText: "guide" }).count() > 0, `${name}: each sleeve is named`);
  await button.click();
}

async function selects(page, name) {
  const rows = page.locator("table.holes tbody tr[data-hole]");
  const count = await rows.count();
  for (const index of [0, count - 1]) {
    await rows.nth(index).locator("td").last().click();
    const hole = await rows.nth(index).getAttribute("data-hole");
    await page.waitForTimeout(100);
    const own = await page.locator(".tags .own").count();
    expect(own === 1, `${name}: picking ${hole} in the table marks one screw in the view`);
    const words = await page.locator(".picked").textContent();
    expect(words.startsWith("Picked: "), `${name}: the pick is said aloud`);
  }
  await page.getByRole("button", { name: "Into the socket", exact: true }).click();
  await page.waitForTimeout(150);
  const tag = await page.locator(".tags span").first().evaluate((t) => t.style.transform.match(/-?[\d.]+/g).map(Number));
  await page.locator(".turning canvas").click({ position: { x: tag[0], y: tag[1] } });
  await page.waitForTimeout(100);
  const current = await page.locator("table.holes tr[aria-current]").count();
  expect(current === 1, `${name}: picking in the view marks one row of the table`);
}

async function accessible(page, name) {
  await page.evaluate(axe);
  const result = await page.evaluate(() => window.axe.run(document, { resultTypes: ["violations"] }));
  for (const v of result.violations) {
    const line = `${name}: axe ${v.impact} ${v.id}: ${v.nodes.slice(0, 3).map((n) => n.target.join(" ")).join(" | ")}`;
    if (["serious", "critical"].includes(v.impact)) expect(false, line); else console.log(`note: ${line}`);
  }
  expect(result.passes !== undefined, `${name}: axe ran`);
}

async function look(file) {
  const url = pathToFileURL(resolve(file)).href, name = basename(dirname(resolve(file))) + "/" + basename(file);
  const browser = await chromium.launch({ executablePath: process.env.CHROMIUM, args: FLAGS });
  for (const width of WIDTHS) {
    const { page, noise, context } = await open(browser, url, { viewport: { width, height: 900 } });
    const at = `${name} at ${width} px`;
    const turning = await page.locator(".turning").count();
    if (shots) await page.screenshot({ path: join(shots, `${name.replace("/", "-")}-${width}.png`), fullPage: true, timeout: 120_000 });
    for (const problem of await page.evaluate(crowding)) expect(false, `${at}: ${problem}`);
    if (turning) { await turns(page, at); await guides(page, at); await selects(page, at); }
    await accessible(page, at);
    expect(noise.length === 0, `${at}: ${noise.join("; ")}`);
    await context.close();
  }
  await touchesWhereItTurns(browser, url, name);
  if (shots) {
    const { page, context } = await open(browser, url, { viewport: { width: 1024, height: 900 } });
    await page.pdf({ path: join(shots, `${name.replace("/", "-")}.pdf`), format: "A4", preferCSSPageSize: true, printBackground: false });
    await context.close();
  }
  await browser.close();
  const blind = await chromium.launch({ executablePath: process.env.CHROMIUM, args: [...FLAGS, "--disable-3d-apis"] });
  const { page, noise } = await open(blind, url, { viewport: { width: 1024, height: 900 } });
  if (await page.locator(".turning").count()) {
    expect(await page.locator(".stills svg").first().isVisible(), `${name}: pictures stand in where there is no WebGL`);
    expect(!(await page.locator(".turning canvas").isVisible()), `${name}: no empty view where there is no WebGL`);
    expect(noise.filter((n) => !/WebGL/i.test(n)).length === 0, `${name} without WebGL: ${noise.join("; ")}`);
  }
  await blind.close();
}

for (const file of process.argv.slice(2)) await look(file);
if (failures.length) {
  console.error(failures.map((f) => `failed: ${f}`).join("\n"));
  console.error(`${failures.length} of ${checks} checks failed`);
  process.exit(1);
}
console.log(`browser: ${checks} checks passed on ${process.argv.length - 2} page(s) at ${WIDTHS.join(", ")} px`);
