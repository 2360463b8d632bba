// A tablet joins by the code on the bench, over TLS; is not known after a restart; joins again.
import assert from "node:assert/strict";
import { spawn } from "node:child_process";
import { createRequire } from "node:module";
import { after, test } from "node:test";
import { BROWSER } from "../../web/mock/browser.mjs";
import { PROGRAM, demoShop, folder, remove } from "./bench.mjs";

const require = createRequire(new URL("../../web/package.json", import.meta.url));
const { chromium } = require("playwright-core");

const shop = folder("lan");
const store = `${shop}/shop.db`;
demoShop(store);
const browser = await chromium.launch(BROWSER);
let bench;
after(async () => {
  await browser.close();
  bench.child.kill("SIGTERM");
  await bench.gone;
  remove(shop);
});

/** Serves with --lan; gives the ports and the code that the terminal shows. */
function start(port) {
  const child = spawn(PROGRAM, ["bench", store, "--lan", "--no-browser", "--port", String(port)]);
  const gone = new Promise((done) => child.on("exit", done));
  return new Promise((found) => {
    let text = "";
    child.stdout.on("data", (data) => {
      text += data;
      const code = /Code for the next device: (\d{4} \d{4})/.exec(text)?.[1];
      const near = /127\.0\.0\.1:(\d+)/.exec(text)?.[1];
      if (code) found({ child, gone, code, port: Number(near) });
    });
  });
}

const give = async (page, code) => {
  await page.getByLabel("eight digits").fill(code);
  await page.getByRole("button", { name: "Pair" }).click();
};

test("a tablet joins, is sent to pair after a restart, and joins again", async () => {
  bench = await start(8600 + (process.pid % 300));
  const tablet = `https://localhost:${bench.port + 1}/`;
  const page = await (await browser.newContext({ ignoreHTTPSErrors: true })).newPage();
  await page.goto(tablet);
  assert.equal(page.url(), `${tablet}pair`);
  await give(page, bench.code === "0000 0000" ? "1" : "0000 0000");
  await page.getByRole("alert").getByText("not the code").waitFor();
  await give(page, bench.code);
  await page.getByRole("heading", { name: "On the bench" }).waitFor();

  bench.child.kill("SIGTERM");
  await bench.gone;
  bench = await start(bench.port);
  await page.getByRole("heading", { name: "Pair this device" }).waitFor();
  await give(page, bench.code);
  await page.getByRole("heading", { name: "On the bench" }).waitFor();
  await page.close();
});
