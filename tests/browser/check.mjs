// Opens a report in a headless browser and fails where it asks for anything, is wider than the screen,
// or where axe-core finds a fault of accessibility, in either colour scheme.
//
//   node check.mjs REPORT.html CHROMIUM
//
// Needs the packages playwright-core and axe-core in a node_modules folder of the working directory.

import { createRequire } from "node:module";
import { resolve } from "node:path";
import { pathToFileURL } from "node:url";

const WIDTHS = [360, 768, 1280];
const SCHEMES = ["light", "dark"];

const needed = createRequire(resolve("package.json"));
const { chromium } = needed("playwright-core");
const axeSource = needed("axe-core").source;

const [report, executablePath] = process.argv.slice(2);
const address = pathToFileURL(resolve(report)).href;
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

async function open(browser, options, where) {
  const page = await (await browser.newContext(options)).newPage();
  page.on("request", (request) => {
    if (request.url() !== address) faults.push(`${where}: asks for ${request.url()}`);
  });
  await page.goto(address, { waitUntil: "load" });
  await page.evaluate(() => document.querySelectorAll("details").forEach((d) => (d.open = true)));
  return page;
}

// Without scripts, as the page has to work.
async function checkWidth(browser, viewport) {
  const where = `${viewport.width} px`;
  const page = await open(browser, { viewport, javaScriptEnabled: false }, where);
  const scripts = await page.evaluate(() => document.scripts.length);
  if (scripts > 0) faults.push(`${where}: holds ${scripts} scripts`);
  for (const found of await page.evaluate(tooWide)) faults.push(`${where}: too wide: ${found}`);
  await page.context().close();
}

async function checkAccess(browser, viewport, colorScheme) {
  const where = `${viewport.width} px, ${colorScheme}`;
  const page = await open(browser, { viewport, colorScheme }, where);
  await page.evaluate(axeSource);
  const result = await page.evaluate(() => axe.run());
  for (const { id, help, nodes } of result.violations) {
    faults.push(`${where}: ${id}: ${help}: ${nodes.length} times, first ${nodes[0].html.slice(0, 160)}`);
  }
  console.log(`${where}: ${result.passes.length} rules of axe-core ${result.testEngine.version} passed`);
  await page.context().close();
}

const browser = await chromium.launch({
  executablePath,
  args: ["--no-sandbox", "--host-resolver-rules=MAP * ~NOTFOUND"],
});
for (const width of WIDTHS) {
  const viewport = { width, height: 900 };
  await checkWidth(browser, viewport);
  for (const scheme of SCHEMES) await checkAccess(browser, viewport, scheme);
}
await browser.close();
for (const fault of faults) console.error(fault);
console.log(`browser checks: ${faults.length === 0 ? "passed" : `${faults.length} faults`}`);
process.exitCode = faults.length === 0 ? 0 : 1;
