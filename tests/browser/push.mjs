// A notice on a phone, from the program to the answer: a real browser, its real worker, and a push service that
// decrypts with Node's own cryptography. Only the way between push service and browser is not run: what was decrypted
// is delivered through the browser's debugging protocol.
//
//   node push.mjs PATH-OF-THE-PROGRAM
//
// One line per check; the last line counts them. CHROMIUM names the browser.
import { execFileSync, spawn } from "node:child_process";
import { createDecipheriv, createECDH, createPublicKey, hkdfSync, randomBytes, verify } from "node:crypto";
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { createServer, request as ask } from "node:http";
import { createServer as createSecureServer } from "node:https";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { chromium } from "playwright-core";

const [program] = process.argv.slice(2);
if (!program) {
  console.error("usage: node push.mjs PATH-OF-THE-PROGRAM");
  process.exit(2);
}
const PATIENCE_MS = 60_000;

let passed = 0;
let failed = 0;
const check = async (name, work) => {
  try {
    const wrong = await work();
    if (wrong) throw new Error(wrong);
    passed += 1;
    console.log(`ok    ${name}`);
  } catch (error) {
    failed += 1;
    console.log(`FAIL  ${name}\n      ${String(error.message ?? error).split("\n").slice(0, 3).join(" | ")}`);
  }
};
const differs = (found, wanted) =>
  JSON.stringify(found) === JSON.stringify(wanted) ? "" : `${JSON.stringify(found)}, not ${JSON.stringify(wanted)}`;
const until = async (what, look) => {
  for (const end = Date.now() + PATIENCE_MS; Date.now() < end;) {
    const found = await look();
    if (found) return found;
    await new Promise((done) => setTimeout(done, 100));
  }
  throw new Error(`waited in vain: ${what}`);
};

// The phone's side (RFC 8291): its keys, and the push service that it was given.
const phone = createECDH("prime256v1");
phone.generateKeys();
const secret = randomBytes(16);

const decrypted = (body) => {
  const [salt, sender, record] = [body.subarray(0, 16), body.subarray(21, 21 + body[20]), body.subarray(21 + body[20])];
  const derive = (from, with_, info, length) => Buffer.from(hkdfSync("sha256", from, with_, info, length));
  const about = Buffer.concat([Buffer.from("WebPush: info\0"), phone.getPublicKey(), sender]);
  const input = derive(phone.computeSecret(sender), secret, about, 32);
  const key = derive(input, salt, "Content-Encoding: aes128gcm\0", 16);
  const open = createDecipheriv("aes-128-gcm", key, derive(input, salt, "Content-Encoding: nonce\0", 12));
  open.setAuthTag(record.subarray(-16));
  const plain = Buffer.concat([open.update(record.subarray(0, -16)), open.final()]);
  if (plain.at(-1) !== 2) throw new Error("no delimiter of a last record");
  return plain.subarray(0, -1).toString();
};

/** The claims of the token beside a message, once its signature holds (RFC 8292). */
const claims = (authorization) => {
  const [, token, key] = /^vapid t=([^,]+), k=(.+)$/.exec(authorization);
  const point = Buffer.from(key, "base64url");
  const jwk = { kty: "EC", crv: "P-256", x: point.subarray(1, 33).toString("base64url"), y: point.subarray(33).toString("base64url") };
  const [head, said, signature] = token.split(".");
  const holds = verify("sha256", Buffer.from(`${head}.${said}`),
    { key: createPublicKey({ key: jwk, format: "jwk" }), dsaEncoding: "ieee-p1363" }, Buffer.from(signature, "base64url"));
  if (!holds) throw new Error("the signature does not hold");
  return { ...JSON.parse(Buffer.from(said, "base64url")), key };
};

const came = [];
const service = createServer((request, answer) => {
  const pieces = [];
  request.on("data", (piece) => pieces.push(piece));
  request.on("end", () => {
    came.push({ headers: request.headers, body: Buffer.concat(pieces) });
    answer.writeHead(201).end();
  });
});
await new Promise((done) => service.listen(0, "127.0.0.1", done));
const origin = `http://127.0.0.1:${service.address().port}`;

// A web server in front of the page, which ends TLS: how phones at home meet it.
const folder = mkdtempSync(join(tmpdir(), "push-"));
const [certificate, key] = ["front.pem", "front.key"].map((name) => join(folder, name));
execFileSync("openssl", ["req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes", "-days", "2",
  "-subj", "/CN=127.0.0.1", "-keyout", key, "-out", certificate], { stdio: "ignore" });
const front = createSecureServer({ cert: readFileSync(certificate), key: readFileSync(key) }, (request, answer) => {
  const { method, url: path, headers } = request;
  const onward = ask(new URL(path, address), { method, headers }, (response) => {
    answer.writeHead(response.statusCode, response.headers);
    response.pipe(answer);
  });
  onward.on("error", () => answer.destroy());
  request.pipe(onward);
});
await new Promise((done) => front.listen(0, "127.0.0.1", done));
const outside = `https://127.0.0.1:${front.address().port}`;

// The program, in a garden of its own.
writeFileSync(join(folder, "site.toml"), `[site]
name = "Bindweed Yard"
latitude = 52.1
longitude = 5.3
standard_offset = "+01:00"
[clock]
vouched_by = "system"
[page]
listen = "127.0.0.1:0"
address = "${outside}"
[ledger]
folder = "${join(folder, "ledger")}"
commit_every_s = 0.2
[web_push]
contact = "mailto:grower@garden.example"
own_service = "${origin}"
[start]
[[start.place]]
id = "long"
name = "Long House"
kind = "house"
[[start.planting]]
id = "reds"
crop = "tomato"
place = "long"
planted_out = 2026-05-04
`);
const running = spawn(program, ["run", join(folder, "site.toml")], { stdio: ["ignore", "pipe", "pipe"] });
let log = "";
running.stdout.on("data", (text) => { log += text; });
running.stderr.on("data", (text) => { log += text; });
const address = await until("the page's address", () => /http:\/\/[^\s]+\//.exec(log)?.[0]);

const browser = await chromium.launch({
  executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium",
  args: ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync"],
});
const context = await browser.newContext({ viewport: { width: 390, height: 844 } });
await context.grantPermissions(["notifications"], { origin: new URL(address).origin });
const page = await context.newPage();
const faults = [];
page.on("pageerror", (error) => faults.push(error.message));
const now = async () => (await fetch(new URL("/api/now", address))).json();
/** What the phone shows: title, text and buttons of each notice. */
const shown = () => page.evaluate(async () => {
  const worker = await navigator.serviceWorker.ready;
  return (await worker.getNotifications()).map((one) => ({ title: one.title, tag: one.tag, body: one.body,
    buttons: one.actions.map((action) => action.title) }));
});

const protocol = await context.newCDPSession(page);
const registrations = new Map();
protocol.on("ServiceWorker.workerRegistrationUpdated", ({ registrations: all }) => {
  for (const one of all) registrations.set(one.scopeURL, one.registrationId);
});
await protocol.send("ServiceWorker.enable");
const deliver = async (data) => {
  const registrationId = await until("the worker is registered", () => registrations.get(new URL("/", address).href));
  await protocol.send("ServiceWorker.deliverPushMessage", { origin: new URL(address).origin, registrationId, data });
};

await check("the page offers to tell this phone", async () => {
  await page.goto(new URL("/ground", address).href);
  await page.locator("#phone-form").waitFor({ state: "visible" });
  return (await page.locator("#phone-no").isVisible()) ? "and says why not as well" : "";
});
await check("a browser without a push service is told so in words", async () => {
  // This browser has none, or never answers; the page's own limit ends that.
  await page.locator("#phone-form input[name=name]").fill("Ann's phone");
  await page.locator("#phone-form button").click();
  await until("words", async () => /receives nothing yet/.test(await page.locator("#phone-says").textContent()));
});
await check("what a browser hands over subscribes the phone", async () => {
  const given = { endpoint: `${origin}/to/ann`, p256dh: phone.getPublicKey("base64url"), auth: secret.toString("base64url") };
  await page.evaluate((fields) => {
    const form = document.getElementById("phone-form");
    for (const [name, value] of Object.entries(fields)) form.elements[name].value = value;
    form.submit();
  }, given);
  await page.locator("[data-phone]").waitFor();
  const html = await page.content();
  return html.includes(given.endpoint) || html.includes(given.auth) ? "its address or secret came back" : "";
});
let told;
await check("a warning becomes a push that the phone can decrypt, signed by the board's key", async () => {
  const day = (days) => new Date(Date.now() + days * 86_400_000).toISOString().slice(0, 10);
  const note = { what: "heat_warning", from: day(4), to: day(6), about_c: 41 };
  await page.evaluate((body) => fetch("/api/note", { method: "POST", headers: { "Content-Type": "application/json" }, body }),
    JSON.stringify({ note }));
  const pushed = await until("the push", () => came[0]);
  told = decrypted(pushed.body);
  const { aud, key } = claims(pushed.headers.authorization);
  return differs([aud, key], [origin, (await now()).board.push_key]);
});
const notice = told && JSON.parse(told);
await check("the worker shows it, under the notice's tag, with its answers", async () => {
  await deliver(told);
  const [one] = await until("a notice", async () => { const all = await shown(); return all.length ? all : null; });
  return differs(one, { title: notice.title, tag: notice.notice, body: notice.text, buttons: ["On it", "Later"] });
});
await check("a newer step replaces it", async () => {
  await deliver(JSON.stringify({ ...notice, id: "step-2", step: notice.step + 1, title: "Net on" }));
  await until("the newer one", async () => (await shown())[0]?.title === "Net on");
  return differs((await shown()).length, 1);
});
await check("a repeat of the older one brings nothing back", async () => {
  await deliver(told);
  await deliver("\u0000 not JSON");
  await until("the unreadable one", async () => (await shown()).length === 2);
  const titles = (await shown()).map((one) => one.title).sort();
  return differs(titles, ["Look at the house", "Net on"]);
});
/** Presses a button of the notice, as a finger would: inside the worker. */
const press = async (action) => {
  const worker = context.serviceWorkers()[0] ?? await context.waitForEvent("serviceworker");
  await worker.evaluate(async ([tag, pressed]) => {
    const [notification] = await self.registration.getNotifications({ tag });
    self.dispatchEvent(new NotificationEvent("notificationclick", { notification, action: pressed }));
  }, [notice.notice, action]);
};
await check("a press on “On it” reaches the board", async () => {
  await press("on-it");
  await until("the reply", async () => (await now()).open.some((one) => one.id === notice.notice && one.on_it_ms));
  return differs((await shown()).some((one) => one.tag === notice.notice), false);
});
await check("a press on “Later” reaches it too", async () => {
  await deliver(told);
  await until("the notice again", async () => (await shown()).some((one) => one.tag === notice.notice));
  await press("later");
  await until("the reply", async () => (await now()).open.some((one) => one.id === notice.notice && one.later_until_ms));
});
await check("by https, through the web server in front, the page lets a phone subscribe and takes what is sent", async () => {
  const elsewhere = await browser.newContext({ ignoreHTTPSErrors: true });
  const there = await elsewhere.newPage();
  await there.goto(`${outside}/ground`);
  await there.locator("#phone-form").waitFor({ state: "visible" });
  await there.locator("[data-phone] button").click();
  await until("the phone is stopped", async () => (await there.locator("[data-phone] button").count()) === 0);
  await elsewhere.close();
});
await check("no error on the page", async () => faults.join("; "));
await check("without the board a press is said not to be noted", async () => {
  await deliver(told);
  await until("the notice again", async () => (await shown()).some((one) => one.tag === notice.notice));
  running.kill("SIGTERM");
  await new Promise((done) => running.exitCode === null ? running.once("exit", done) : done());
  await press("on-it");
  await until("words", async () => (await shown()).some((one) => one.title.includes("was not noted")));
});

await browser.close();
running.kill("SIGKILL");
for (const server of [service, front]) {
  server.closeAllConnections();
  server.close();
}
rmSync(folder, { recursive: true, force: true });
if (failed > 0) console.log(log.split("\n").slice(-20).join("\n"));
console.log(`${passed} passed, ${failed} failed`);
process.exit(failed === 0 ? 0 : 1);
