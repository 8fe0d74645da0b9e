// Opens reports in a headless browser and fails where one asks for anything, is wider than the screen, is slow or
// large, where axe-core finds a fault of accessibility, in either colour scheme, where what comes before the annex does
// not print on two pages, or a table or figure of it is higher than a page, where the whole is longer than fifteen, or
// where a sheet of a sensor does not print on a page of its own.
//
//   node check.mjs CHROMIUM REPORT.html...
//
// Needs the packages playwright-core and axe-core in a node_modules folder of the working directory.

import { createRequire } from "node:module";
import { statSync } from "node:fs";
import { resolve } from "node:path";
import { pathToFileURL } from "node:url";

const WIDTHS = [360, 768, 1280];
const SCHEMES = ["light", "dark"];
const MOST_BYTES = 1_500_000;
const MOST_MILLISECONDS = 500;
const BODY_PAGES = 2;
const MOST_PAGES = 15;

// CSS pixels of a page within the margins of the style sheet, 13 mm at the sides, 29 mm above and below together.
const MILLIMETRE = 96 / 25.4;
const PAPERS = {
  A4: { width: (210 - 26) * MILLIMETRE, height: (297 - 29) * MILLIMETRE },
  Letter: { width: (215.9 - 26) * MILLIMETRE, height: (279.4 - 29) * MILLIMETRE },
};

const needed = createRequire(resolve("package.json"));
const { chromium } = needed("playwright-core");
const axeSource = needed("axe-core").source;

const [executablePath, ...reports] = process.argv.slice(2);
const faults = [];

// Elements that reach beyond the right edge, save those inside something that scrolls by itself.
function tooWide() {
  const scrolls = (element) => ["auto", "scroll"].includes(getComputedStyle(element).overflowX);
  const inScroller = (element) => {
    for (let up = element.parentElement; up && up !== document.body; up = up.parentElement) {
      if (scrolls(up)) return true;
    }
    return false;
  };
  const found = [...document.body.querySelectorAll("*")]
    .filter((element) => !element.closest("svg") || element.tagName === "svg")
    .filter((element) => element.getBoundingClientRect().right > innerWidth + 0.5)
    .filter((element) => !inScroller(element))
    .map((element) => element.outerHTML.slice(0, 100));
  const page = document.documentElement.scrollWidth;
  return page > innerWidth ? [`the page is ${page} px wide`, ...found] : found;
}

async function open(browser, address, options, where) {
  const page = await (await browser.newContext(options)).newPage();
  page.on("request", (request) => {
    if (request.url() !== address) faults.push(`${where}: asks for ${request.url()}`);
  });
  await page.goto(address, { waitUntil: "load" });
  await page.evaluate(() => document.querySelectorAll("details").forEach((d) => (d.open = true)));
  return page;
}

// Without scripts, as the page has to work.
async function checkWidth(browser, name, address, viewport) {
  const where = `${name}, ${viewport.width} px`;
  const page = await open(browser, address, { viewport, javaScriptEnabled: false }, where);
  const scripts = await page.evaluate(() => document.scripts.length);
  if (scripts > 0) faults.push(`${where}: holds ${scripts} scripts`);
  for (const found of await page.evaluate(tooWide)) faults.push(`${where}: too wide: ${found}`);
  await page.context().close();
}

async function checkAccess(browser, name, address, viewport, colorScheme) {
  const where = `${name}, ${viewport.width} px, ${colorScheme}`;
  const page = await open(browser, address, { viewport, colorScheme }, where);
  await page.evaluate(axeSource);
  const result = await page.evaluate(() => axe.run());
  for (const { id, help, nodes } of result.violations) {
    faults.push(`${where}: ${id}: ${help}: ${nodes.length} times, first ${nodes[0].html.slice(0, 160)}`);
  }
  console.log(`${where}: ${result.passes.length} rules of axe-core ${result.testEngine.version} passed`);
  await page.context().close();
}

// The best of a few tries: what else the machine does is not the page's.
async function checkPaint(browser, name, address) {
  const times = [];
  for (let attempt = 0; attempt < 5; attempt++) {
    const page = await open(browser, address, { viewport: { width: 1280, height: 900 } }, name);
    await page.waitForFunction(() => performance.getEntriesByName("first-contentful-paint").length > 0);
    times.push(await page.evaluate(() => performance.getEntriesByName("first-contentful-paint")[0].startTime));
    await page.context().close();
  }
  const best = Math.min(...times);
  console.log(`${name}: first paint after ${best.toFixed(0)} ms`);
  if (best > MOST_MILLISECONDS) faults.push(`${name}: first paint after ${best.toFixed(0)} ms`);
}

// Figures and tables of the body that are higher than a page, and tables that are wider than their room: a column of the
// annex, or the page, which is as wide as the paper.
function offPaper({ height, whole }) {
  const name = (block) => block.textContent.trim().slice(0, 60);
  const blocks = [...document.querySelectorAll("figure, .scroll")];
  const high = blocks.filter((block) => whole && !block.closest(".annex") && block.getBoundingClientRect().height > height);
  const wide = [...document.querySelectorAll("table")].filter((table) => {
    const room = table.closest(".scroll").clientWidth;
    // A few pixels are within the page's margin.
    return table.getBoundingClientRect().width > room + 5;
  });
  return [...high.map((block) => `higher than a page: ${name(block)}`), ...wide.map((table) => `wider than a page: ${name(table)}`)];
}

async function checkPaper(browser, name, address, twoPages) {
  for (const [format, viewport] of Object.entries(PAPERS)) {
    const page = await open(browser, address, { viewport: { width: Math.round(viewport.width), height: 900 } }, name);
    const count = async () => (await page.pdf({ format })).toString("latin1").match(/\/Type\s*\/Page\b(?!s)/g).length;
    const all = await count();
    await page.emulateMedia({ media: "print" });
    for (const fault of await page.evaluate(offPaper, { ...viewport, whole: twoPages })) faults.push(`${name}, ${format}: ${fault}`);
    await page.evaluate(() => document.querySelector("section.annex")?.remove());
    const body = await count();
    console.log(`${name}, ${format}: ${body} pages before the annex, ${all} with it`);
    if (twoPages && body > BODY_PAGES) faults.push(`${name}, ${format}: ${body} pages before the annex`);
    if (all > MOST_PAGES) faults.push(`${name}, ${format}: ${all} pages`);
    await page.context().close();
  }
}

// Sheets print on a page each, after one that lists them.
async function checkSheets(browser, name, address) {
  for (const format of Object.keys(PAPERS)) {
    const page = await open(browser, address, {}, name);
    const sheets = await page.evaluate(() => document.querySelectorAll("section.sheet").length);
    const pages = (await page.pdf({ format })).toString("latin1").match(/\/Type\s*\/Page\b(?!s)/g).length;
    console.log(`${name}, ${format}: ${sheets} sheets on ${pages} pages`);
    if (pages !== sheets + 1) faults.push(`${name}, ${format}: ${sheets} sheets take ${pages} pages`);
    await page.context().close();
  }
}

const browser = await chromium.launch({
  executablePath,
  args: ["--no-sandbox", "--host-resolver-rules=MAP * ~NOTFOUND"],
});
for (const report of reports) {
  const address = pathToFileURL(resolve(report)).href;
  const bytes = statSync(report).size;
  if (bytes > MOST_BYTES) faults.push(`${report}: ${bytes} bytes`);
  await checkPaint(browser, report, address);
  for (const width of WIDTHS) {
    const viewport = { width, height: 900 };
    await checkWidth(browser, report, address, viewport);
    for (const scheme of width === WIDTHS[1] ? SCHEMES.slice(0, 1) : SCHEMES) await checkAccess(browser, report, address, viewport, scheme);
  }
  if (report.endsWith("sheets.html")) await checkSheets(browser, report, address);
  else await checkPaper(browser, report, address, report.includes("clinician"));
}
await browser.close();
for (const fault of faults) console.error(fault);
console.log(`browser checks: ${faults.length === 0 ? "passed" : `${faults.length} faults`}`);
process.exitCode = faults.length === 0 ? 0 : 1;
