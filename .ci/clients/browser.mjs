// What only a browser shows, on a running service with the demo: `node browser.mjs CONTRACT BUNDLES SERVICE TOKEN ORIGIN OTHER`.
//
// - A page of ORIGIN, which the service names, sends a batch by the generated client; the same page of OTHER cannot.
// - Every page of the guide, every printed page and every picture passes axe-core, contrast included.
// - /docs and /redoc load without a network, and their consoles stay empty.
import { readFile } from "node:fs/promises";
import { createServer } from "node:http";
import { createRequire } from "node:module";
import { join } from "node:path";
import process from "node:process";
import puppeteer from "puppeteer-core";

const [contractFile, bundles, service, token, origin, other] = process.argv.slice(2);
const contract = JSON.parse(await readFile(contractFile, "utf8"));
const axe = await readFile(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
const wrong = [];

const browser = await puppeteer.launch({
  executablePath: process.env.CHROMIUM,
  headless: true,
  // Nothing but this machine has an address.
  args: ["--no-sandbox", "--disable-gpu", "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1"],
});

/** Open an address in a page of its own and hand it on, with all that its console and its network complained of. */
async function opened(address, headers, look) {
  const page = await browser.newPage();
  const complaints = [];
  page.on("console", (said) => ["error", "warn"].includes(said.type()) && complaints.push(said.text()));
  page.on("pageerror", (error) => complaints.push(String(error)));
  page.on("requestfailed", (request) => complaints.push(`${request.url()} ${request.failure()?.errorText}`));
  page.on("response", (answer) => answer.status() >= 400 && complaints.push(`${answer.url()} ${answer.status()}`));
  try {
    await page.setExtraHTTPHeaders(headers);
    await page.goto(address, { waitUntil: "load", timeout: 60_000 });
    return await look(page, complaints);
  } finally {
    await page.close();
  }
}

async function batchFromAnotherOrigin() {
  const script = await readFile(join(bundles, "batch_page.js"), "utf8");
  const html = `<!doctype html><html lang="en"><title>Phone</title><link rel="icon" href="data:,"><script>${script}</script></html>`;
  const servers = [origin, other].map((one) =>
    createServer((_, answer) => answer.writeHead(200, { "Content-Type": "text/html" }).end(html)).listen(new URL(one).port, "127.0.0.1"),
  );
  const [first] = contract.paths["/v1/readings"].post.requestBody.content["application/json"].example.readings;
  const readings = [1, 2].map((number) => ({
    id: `0b5e55ed-0000-4000-8000-00000000000${number}`,
    table_id: first.table_id,
    taken_at: `2026-11-2${number}T12:00:00Z`,
    note: "read offline",
  }));
  const send = (from, secret) =>
    opened(from, {}, async (page) => {
      const network = await page.createCDPSession();
      await network.send("Network.enable");
      let preflights = 0;
      network.on("Network.requestWillBeSent", (event) => (preflights += event.request.method === "OPTIONS" ? 1 : 0));
      const sent = await page.evaluate((...all) => window.sendBatch(...all), service, secret, readings);
      return JSON.stringify({ ...sent, preflight: preflights > 0 });
    });
  const told = (status, outcomes, problem, preflight) => JSON.stringify({ status, outcomes, problem, preflight });
  // A browser remembers the answer to a preflight for ten minutes.
  const checks = [
    ["an origin that is not named", await send(other, token), told(null, [], null, true)],
    ["a wrong token", await send(origin, "bz_wrong-wrong-wrong-wrong-wrong-wrong"), told(401, [], "wrong_token", true)],
    ["a batch", await send(origin, token), told(200, ["recorded", "recorded"], null, false)],
    ["the same batch again", await send(origin, token), told(200, ["duplicate", "duplicate"], null, false)],
  ];
  servers.forEach((server) => server.close());
  for (const [name, came, wanted] of checks) if (came !== wanted) wrong.push(`${name}: ${came}, expected ${wanted}`);
  return `a batch from ${origin}, recorded once, and none from ${other}`;
}

/** Yield the address of every page that a person opens, with the examples of the contract. */
async function* pages() {
  yield* await opened(`${service}/guide`, {}, (page) => page.$$eval("nav a[href^='/guide']", (links) => links.map((link) => link.href)));
  for (const [path, item] of Object.entries(contract.paths)) {
    const kinds = Object.keys(item.get?.responses["200"].content ?? {});
    if (!kinds.includes("text/html") && !kinds.includes("image/svg+xml")) continue;
    let address = path;
    const query = new URLSearchParams(kinds.includes("application/json") ? { format: "svg" } : {});
    for (const { in: place, name, example } of item.get.parameters) {
      if (place === "path") address = address.replace(`{${name}}`, example);
      if (place === "query" && example !== undefined) query.set(name, example);
    }
    yield `${service}${address}?${query}`.replace(/\?$/, "");
  }
}

async function accessibility() {
  let judged = 0;
  for await (const address of pages()) {
    const headers = { Authorization: `Bearer ${token}` };
    await opened(address, headers, async (page, complaints) => {
      wrong.push(...complaints.map((complaint) => `${address}: ${complaint}`));
      const media = address.includes(".html") ? ["screen", "print"] : ["screen"];
      for (const medium of media) {
        await page.emulateMediaType(medium);
        await page.evaluate(axe);
        const { violations, passes } = await page.evaluate(() => window.axe.run(document));
        if (passes.length === 0) wrong.push(`${address}: axe judged nothing`);
        for (const { id, help, nodes } of violations) {
          wrong.push(`${address} (${medium}): ${id}: ${help}\n  ${nodes.map((node) => node.html.slice(0, 160)).join("\n  ")}`);
        }
      }
      judged += 1;
    });
  }
  if (judged < 24) wrong.push(`only ${judged} pages were judged`);
  return `${judged} pages and pictures judged by axe-core`;
}

async function contractPages() {
  const marks = { docs: ".opblock", redoc: "[data-section-id] h1, [data-section-id] h2" };
  for (const [name, mark] of Object.entries(marks)) {
    await opened(`${service}/${name}`, {}, async (page, complaints) => {
      await page.waitForSelector(mark, { timeout: 60_000 }).catch((error) => complaints.push(String(error)));
      wrong.push(...complaints.map((complaint) => `/${name}: ${complaint}`));
    });
  }
  return "/docs and /redoc load without a network";
}

async function everyGet() {
  const { everyGet } = await import(join(bundles, "every_get.mjs"));
  wrong.push(...(await everyGet(service, token)));
  return "every operation that reads was called from TypeScript, in every format";
}

try {
  for (const check of [everyGet, batchFromAnotherOrigin, accessibility, contractPages]) console.log(await check());
} finally {
  await browser.close();
}
if (wrong.length > 0) {
  console.log(`${wrong.length} wrong:\n${wrong.join("\n")}`);
  process.exit(1);
}
