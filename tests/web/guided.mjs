// A hidden fault, found on the practice bench from the drain to its name: the mouse is the hand with
// the probe, and of the keyboard there is nothing but the pedal.
import assert from "node:assert/strict";
import { spawn } from "node:child_process";
import { test } from "node:test";
import {
  address,
  ask,
  closePage,
  factsOf,
  folder,
  newJob,
  openPage,
  PROGRAM,
  remove,
  stages,
  startBench,
  startBrowser,
} from "./bench.mjs";

const PEDAL = "F8"; // as a pedal sends it that was set so
const SEED = "3"; // hides a leaky bypass capacitor, which five readings or so name
const READINGS_MOST = 25;

/** In the page: how long after the guide's word on the stream the first clip of it sounds. */
function listen() {
  window.heard = [];
  let told = 0;
  const stream = window.EventSource.prototype.addEventListener;
  window.EventSource.prototype.addEventListener = function (name, hear, ...more) {
    const first = (event) => {
      if (name === "guide" && JSON.parse(event.data).say.length) told = performance.now();
      hear(event);
    };
    return stream.call(this, name, first, ...more);
  };
  const start = AudioBufferSourceNode.prototype.start;
  AudioBufferSourceNode.prototype.start = function (...at) {
    if (told) window.heard.push(performance.now() - told);
    told = 0;
    return start.apply(this, at);
  };
}

async function startPractice(...more) {
  const asked = ["practice", "wren-hollow", "--seed", SEED, "--no-browser", ...more];
  const child = spawn(PROGRAM, asked, { stdio: ["ignore", "pipe", "pipe"] });
  let text = "";
  child.stdout.on("data", (data) => (text += data));
  const gone = new Promise((done) => child.on("exit", done));
  return {
    base: await address(child),
    meter: () => /Simulated meter: (tcp:\S+)/.exec(text)?.[1],
    end: () => (child.kill("SIGINT"), gone),
  };
}

test("from the drain to the named fault, with no key but the pedal", async (t) => {
  const bench = await startPractice();
  const browser = await startBrowser({ args: ["--autoplay-policy=no-user-gesture-required"] });
  const { base } = bench;
  const [{ job }] = await ask(base, "api/jobs?open=1");
  await browser.context.addInitScript(listen);
  const page = await openPage(browser.context, base, `jobs/${job}/make-safe`);
  const stage = stages(t, page);
  t.after(async () => {
    await browser.end();
    await bench.end();
  });
  const guide = () => ask(base, "api/guide");
  const view = () => ask(base, `api/jobs/${job}`);
  const pedal = () => page.keyboard.press(PEDAL);
  const until = async (what, held, ms = 30_000) => {
    for (const end = Date.now() + ms; Date.now() < end; ) {
      const found = await held();
      if (found) return found;
      await page.waitForTimeout(100);
    }
    assert.fail(`not in ${ms} ms: ${what}`);
  };

  await stage("the pedal is any key that is chosen", async () => {
    await page.getByRole("button", { name: "Meter, pedal, voice" }).click();
    await page.getByText(/The meter reads: GRIDLEAK/).waitFor();
    await page.getByRole("button", { name: /^take: / }).click();
    await page.getByRole("button", { name: "take: press it now" }).waitFor();
    await pedal();
    await page.getByRole("button", { name: `take: ${PEDAL}` }).waitFor();
    await page.getByRole("button", { name: "Close" }).click();
  });

  await stage("each capacitor is watched as it empties, and recorded by itself", async () => {
    await page.getByRole("radio", { name: "Switched on" }).check();
    await page.getByText("switched on, probe lifted").waitFor();
    await page.waitForTimeout(2_500); // it charges
    await page.getByRole("button", { name: "Switched off, plug out" }).click();
    const capacitors = (await view()).drained.capacitors;
    for (const { part } of capacitors) {
      await page.getByRole("button", { name: `${part}, ` }).click(); // the probe
      await pedal();
      await until(`watching ${part}`, async () => (await guide()).drain?.at === part);
      if (part === capacitors[0].part) {
        await page.getByText(/C8 (charged|falling|stuck)/).waitFor(); // as far as it got
        await until("charged", async () => (await guide()).drain.most_v > 60);
        await page.getByRole("button", { name: "Drain resistor off" }).click();
        await page.getByText(/C8 (falling|below 60 V)/).waitFor();
      }
      // One that the resistor emptied through the others was never seen to fall: the foot takes it.
      const seen = async () => (await view()).drained.capacitors.find((one) => one.part === part);
      await until(`${part} is low`, async () => Math.abs((await ask(base, "api/meter")).volts) < 5);
      await page.waitForTimeout(800);
      if (!(await seen()).below_60) await pedal();
      await until(`${part} recorded`, async () => (await seen()).below_60);
    }
    await page.getByRole("button", { name: /^Stop/ }).click();
    await page.getByText("Each one read below 60 V").waitFor();
    const [fact] = await factsOf(base, job, "drain");
    assert.match(fact.body.device, /PRACTICE METER/);
    await page.getByRole("button", { name: "Drain resistor on" }).click();
    await page.getByRole("button", { name: "Lift the probe" }).click();
  });

  await stage("cautions are asked first, and the pedal answers", async () => {
    await page.getByRole("link", { name: /Measure/ }).click();
    await page.getByRole("radio", { name: "Guided" }).check();
    assert.equal(await page.locator(".guide").count(), 0, "it leads before it has asked");
    await page.getByText("Live readings: one hand").waitFor();
    await pedal();
    await page.locator(".guide").waitFor();
    await page.getByRole("radio", { name: "Switched on" }).check();
    await until("warm", async () => (await ask(base, "api/practice")).on);
    await pedal();
    await page.getByText("Before you go on").waitFor();
  });

  await stage("stop works at once, and the pedal begins anew", async () => {
    await pedal();
    await page.locator(".guide-at").waitFor();
    const pressed = Date.now();
    await page.getByRole("button", { name: /^Stop/ }).click();
    await page.getByText("Stopped. Hands out.").waitFor();
    assert.ok(Date.now() - pressed < 1_000);
    await until("stopped", async () => (await guide()).step === "stopped");
    await page.waitForTimeout(12_000); // the tubes are warm
    await pedal();
    await until("anew", async () => !["stopped", "idle"].includes((await guide()).step));
  });

  let leader;
  const steps = [];
  await stage("place after place is shown, spoken, taken, until the fault is named", async () => {
    for (let taken = 0; taken < READINGS_MOST; taken++) {
      const now = await until("the next point", async () => {
        const one = await guide();
        return ["caution", "move", "done"].includes(one.step) && one;
      });
      leader = now.leader;
      if (now.step === "done" || now.verdict === "settled") break;
      if (now.step === "caution") {
        await page.getByText("Before you go on").waitFor();
        await pedal();
      }
      const { at, why } = now.point;
      await page.locator(".guide-at", { hasText: at }).waitFor();
      await page.getByText(why).first().waitFor();
      const [, tube, pin] = /^(V\d+)\.(\d+)$/.exec(at) ?? [];
      const drawing = page.locator(".guide-drawing");
      if (tube) await drawing.getByRole("button", { name: `Probe on ${tube}.${pin}` }).first().click();
      else await drawing.getByRole("button", { name: `Probe on ${at}`, exact: true }).click();
      const before = now.last?.fact ?? 0;
      if (now.last?.at === at) await pedal(); // the same place again: the foot takes it
      await until(`${at} taken`, async () => {
        const one = await guide();
        if (one.step === "confirm") await pedal();
        return one.last?.at === at && one.last.fact > before;
      });
      await page.locator(".guide-last").getByText(`${at} read `).waitFor();
      steps.push((await guide()).last.step_ms);
    }
    const facts = await factsOf(base, job, "reading");
    assert.ok(facts.length >= 2);
    for (const { body } of facts) assert.ok(body.stream && body.device, JSON.stringify(body));
    const heard = await page.evaluate(() => window.heard.map(Math.round));
    assert.ok(heard.length >= facts.length, "not every place was spoken");
    t.diagnostic(`from taken to the next point: ${steps.map(Math.round)} ms`);
    t.diagnostic(`from there to its first word: ${heard} ms`);
    await page.locator(".guide .suspects li").first().getByText(leader.part, { exact: true }).waitFor();
  });

  await stage("it was that part", async () => {
    await page.getByRole("button", { name: /^Stop/ }).click({ timeout: 1_000 }).catch(() => {});
    await page.getByRole("button", { name: /Give up|How well/ }).click();
    const { faults } = (await until("the score", async () =>
      (await page.locator(".board-score").count()) ? { faults: true } : null,
    )) && { faults: await page.locator(".board-score strong").allTextContents() };
    assert.deepEqual(faults, [leader.part]);
    await closePage(page);
  });
});

test("a meter is connected by its address; a wrong one, and one that goes, are said", async (t) => {
  const shop = folder("wire");
  const [bench, practice, browser] = [
    await startBench(`${shop}/shop.db`),
    await startPractice(),
    await startBrowser(),
  ];
  t.after(async () => {
    await browser.end();
    await bench.end();
    await practice.end();
    remove(shop);
  });
  const { base } = bench;
  const job = await newJob(base, { amp: "wren-hollow" });
  await ask(practice.base, "api/meter", { address: null }, "PUT"); // it serves one at a time
  const page = await openPage(browser.context, base, `jobs/${job}/make-safe`);
  await page.getByRole("button", { name: "Connect a meter" }).click();
  const field = page.getByLabel("Address");
  await field.fill("over there");
  await page.keyboard.press("Enter");
  await page.locator("dialog .problem-box").waitFor();
  await field.fill(practice.meter());
  await page.keyboard.press("Enter");
  await page.locator("dialog").getByText(/The meter reads: GRIDLEAK/).waitFor();
  await page.getByRole("button", { name: "Close" }).click();
  await page.getByRole("button", { name: "Watch C8 on the meter" }).click();
  await page.getByText(/C8 looking/).waitFor();
  await practice.end();
  const words = page.locator(".watch-times").getByText(/meter/i).first();
  await words.waitFor();
  await page.getByRole("button", { name: /^Stop/ }).click();
  await page.getByRole("button", { name: "Watch C8 on the meter" }).waitFor();
  assert.equal((await factsOf(base, job, "drain")).length, 0, "something was recorded of nothing");
  await closePage(page);
});
