// The page on a phone: every view at 390x844, light and dark, in a real browser.
//
//   node page.mjs http://127.0.0.1:PORT/ FOLDER-FOR-SCREENSHOTS
//
// Fails on console errors, failed requests, sideways scroll (also at 320 px), accessibility violations (axe-core,
// WCAG 2.0 to 2.2 A and AA) and tap targets under 44 px. Plants something in three taps, notes a watering, undoes
// both, and waits for the live update. One line per check; the last line counts them. CHROMIUM names the browser.
import { mkdirSync, readFileSync } from "node:fs";
import { createRequire } from "node:module";
import { join } from "node:path";
import { chromium } from "playwright-core";

const [address, folder] = process.argv.slice(2);
if (!address || !folder) {
  console.error("usage: node page.mjs ADDRESS FOLDER");
  process.exit(2);
}
mkdirSync(folder, { recursive: true });
const axe = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
const PHONE = { width: 390, height: 844 };
const NARROW = { width: 320, height: 640 };
const PATIENCE_MS = 90_000;

let passed = 0;
let failed = 0;
const check = (name, faults) => {
  if (faults.length === 0) {
    passed += 1;
    console.log(`ok    ${name}`);
  } else {
    failed += 1;
    console.log(`FAIL  ${name}\n      ${faults.slice(0, 8).join("\n      ")}`);
  }
};
const attempt = async (name, work) => {
  try {
    check(name, (await work()) ?? []);
  } catch (error) {
    check(name, [String(error.message ?? error).split("\n").slice(0, 3).join(" | ")]);
  }
};

/** Collects what a page complains of. */
const listen = (page) => {
  const faults = [];
  page.on("console", (message) => message.type() === "error" && faults.push(`console: ${message.text()}`));
  page.on("pageerror", (error) => faults.push(`script: ${error.message}`));
  page.on("requestfailed", (request) => {
    // Leaving a page ends its event stream and its fetches: no fault.
    if (request.failure()?.errorText !== "net::ERR_ABORTED") faults.push(`request: ${request.url()}`);
  });
  page.on("response", (answer) => answer.status() >= 400 && faults.push(`${answer.status()} ${answer.url()}`));
  return faults;
};

const at = (path) => new URL(path, address).href;

const sideways = (page) =>
  page.evaluate(() => {
    const width = document.documentElement.clientWidth;
    return document.documentElement.scrollWidth > width ? [`${document.documentElement.scrollWidth} > ${width}`] : [];
  });

/** Lone links, buttons, fields and summaries a finger cannot hit (links inside a sentence are exempt, WCAG 2.5.8). */
const tooSmall = (page) =>
  page.evaluate(() =>
    [...document.querySelectorAll("button, summary, input:not([type=hidden]), select, nav a, .taps a, a.button")]
      .filter((one) => one.checkVisibility() && one.getBoundingClientRect().height < 43.5)
      .map((one) => `${one.tagName} "${one.textContent.trim().slice(0, 30)}" ${one.getBoundingClientRect().height} px`));

const tall = (page) => page.evaluate(() => document.documentElement.scrollHeight);

// The whole page is laid out at once, so that the bar at the foot, which a finger scrolls away from under, hides nothing.
// A page that has grown meanwhile, because the garden went on, is looked at once more.
const violations = async (page) => {
  await page.evaluate(axe);
  const tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"];
  let height = await tall(page);
  let found;
  for (let look = 0; look < 5; look += 1) {
    await page.setViewportSize({ width: PHONE.width, height });
    found = await page.evaluate((values) => axe.run({ runOnly: { type: "tag", values } }), tags);
    const now = await tall(page);
    if (now <= height) break;
    height = now;
  }
  return found.violations.map((one) => `${one.id}: ${one.nodes.map((node) => node.target.join(" ")).slice(0, 3).join("; ")}`);
};

const browser = await chromium.launch({
  executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium",
  args: ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync"],
});

/** The views there are; the season of the first planting, where one stands. */
const views = async () => {
  const page = await browser.newPage();
  await page.goto(at("/season"));
  const season = await page.locator("main a[href^='/season/']").first().getAttribute("href").catch(() => null);
  await page.close();
  const planting = season ? [["planting", season]] : [];
  return [["now", "/"], ["ahead", "/ahead"], ["season", "/season"], ...planting, ["ground", "/ground"], ["diary", "/diary"],
    ["watered", "/diary?did=watered"], ["letter", "/letter"]];
};

for (const [name, path] of await views()) {
  for (const colorScheme of ["light", "dark"]) {
    const context = await browser.newContext({ viewport: PHONE, colorScheme, deviceScaleFactor: 1 });
    const page = await context.newPage();
    const faults = listen(page);
    await attempt(`${name} ${colorScheme}: answers`, async () => {
      const answer = await page.goto(at(path), { waitUntil: "load" });
      return answer.ok() ? [] : [`status ${answer.status()}`];
    });
    await page.screenshot({ path: join(folder, `${name}-${colorScheme}.png`), fullPage: true });
    await page.screenshot({ path: join(folder, `${name}-${colorScheme}-first.png`) });
    await attempt(`${name} ${colorScheme}: no sideways scroll at 390`, () => sideways(page));
    await attempt(`${name} ${colorScheme}: accessible`, () => violations(page));
    await attempt(`${name} ${colorScheme}: a finger can hit everything`, () => tooSmall(page));
    await page.setViewportSize(NARROW);
    await attempt(`${name} ${colorScheme}: no sideways scroll at 320`, () => sideways(page));
    check(`${name} ${colorScheme}: no errors`, faults);
    await context.close();
  }
}

const context = await browser.newContext({ viewport: PHONE });
const page = await context.newPage();
const faults = listen(page);

await attempt("three taps plant something", async () => {
  await page.goto(at("/ground"));
  const before = (await (await context.request.get(at("/api/now"))).json()).plantings.length;
  await page.locator("#plant ~ .taps a").first().click();
  await page.locator("#what + .taps a").first().click();
  await page.locator("button[name=when][value='planted-out/today']").click();
  await page.locator("#noted").waitFor();
  const words = await page.locator("#noted").textContent();
  for (const until = Date.now() + PATIENCE_MS; Date.now() < until;) {
    const after = (await (await context.request.get(at("/api/now"))).json()).plantings.length;
    if (after === before + 1) return /noted \d\d:\d\d/.test(words) ? [] : [`said: ${words}`];
    await page.waitForTimeout(200);
  }
  return ["no new planting in the glance"];
});
await attempt("the planting can be undone", async () => {
  await page.locator("#noted button").click();
  await page.locator("#noted:has-text('undone')").waitFor();
});
await attempt("two taps note a watering", async () => {
  await page.goto(at("/diary"));
  await page.locator(".taps a:has-text('Watered')").click();
  await page.locator("input[name=litres]").fill("7.5");
  await page.locator("button[name=subject]").first().click();
  await page.locator("#noted").waitFor();
  const words = await page.locator("#noted").textContent();
  return /noted \d\d:\d\d/.test(words) ? [] : [`said: ${words}`];
});
await attempt("the watering stands in the diary", async () => {
  await page.locator(".entry:has-text('7.5 litres')").first().waitFor({ timeout: PATIENCE_MS });
});
await page.screenshot({ path: join(folder, "diary-noted.png"), fullPage: true });
await attempt("the watering can be undone", async () => {
  await page.locator("#noted button").click();
  await page.locator("#noted:has-text('undone')").waitFor();
  await page.locator(".entry:has-text('7.5 litres')").waitFor({ state: "detached", timeout: PATIENCE_MS });
});
await attempt("the live update arrives", async () => {
  await page.goto(at("/"));
  const shown = await page.locator("#main").getAttribute("data-at");
  await page.waitForFunction((was) => document.getElementById("main").dataset.at !== was, shown, { timeout: PATIENCE_MS });
});
check("no errors while tapping", faults);
await context.close();

await attempt("eight open pages hold up none of them, nor a ninth request", async () => {
  const many = await browser.newContext({ viewport: PHONE });
  for (let nth = 0; nth < 8; nth += 1) {
    const one = await many.newPage();
    await one.goto(at("/"), { waitUntil: "load", timeout: PATIENCE_MS });
    await one.waitForFunction(() => document.getElementById("main") !== null, { timeout: PATIENCE_MS });
  }
  const answer = await many.pages()[0].evaluate(async () => (await fetch("/api/now")).status);
  await many.close();
  return answer === 200 ? [] : [`status ${answer}`];
});
await attempt("a page cut off says how old it is, and is fresh again when the board is back", async () => {
  const cut = await browser.newContext({ viewport: PHONE });
  const old = await cut.newPage();
  await old.clock.install();
  await old.goto(at("/"), { waitUntil: "load" });
  await cut.setOffline(true);
  await old.clock.fastForward("03:00:00");
  await old.locator("#stale:has-text('This page is 3 h old. Go and look.')").waitFor({ timeout: PATIENCE_MS });
  const pale = await old.evaluate(() => document.body.classList.contains("stale-page"));
  await cut.setOffline(false);
  // As when the phone is taken out of the pocket.
  await old.evaluate(() => document.dispatchEvent(new Event("visibilitychange")));
  await old.locator("#stale").waitFor({ state: "hidden", timeout: PATIENCE_MS });
  await cut.close();
  return pale ? [] : ["its figures are not pale"];
});

await attempt("without script every page still reads and plants", async () => {
  const plain = await browser.newContext({ viewport: PHONE, javaScriptEnabled: false });
  const quiet = await plain.newPage();
  await quiet.goto(at("/ground"));
  await quiet.locator("#plant ~ .taps a").first().click();
  await quiet.locator("#what + .taps a").first().click();
  await quiet.locator("button[name=when][value='planted-out/today']").click();
  await quiet.locator("#noted button").click();
  const words = await quiet.locator("#noted").textContent();
  await plain.close();
  return words.includes("undone") ? [] : [`said: ${words}`];
});

await browser.close();
console.log(`${passed} passed, ${failed} failed`);
process.exit(failed === 0 ? 0 : 1);
