// Looks at every screen: a picture of each, at both sizes, light and dark, and axe-core on each.
//   node web/mock/look.mjs http://127.0.0.1:8473 PICTURES [ROUTE...]
import { mkdirSync, mkdtempSync, readFileSync } from "node:fs";
import { createRequire } from "node:module";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { chromium } from "playwright-core";
import { BROWSER } from "./browser.mjs";

const [, , base, folder, ...only] = process.argv;
const axe = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
const SIZES = { laptop: { width: 1366, height: 768 }, tablet: { width: 820, height: 1180 } };
const STEPS = [
  "take-in",
  "make-safe",
  "look-over",
  "measure",
  "find",
  "decide",
  "repair",
  "prove",
  "hand-back",
];
const ROUTES = only.length
  ? only
  : [
      "",
      "new",
      "amps",
      ...STEPS.map((step) => `jobs/101/${step}`),
      "jobs/102/make-safe",
      "jobs/103/make-safe",
      "jobs/102/look-over",
    ];
const TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"];

mkdirSync(folder, { recursive: true });
const context = await chromium.launchPersistentContext(mkdtempSync(join(tmpdir(), "look-")), {
  ...BROWSER,
  bypassCSP: true,
});
let violations = 0;
for (const [size, viewport] of Object.entries(SIZES))
  for (const scheme of ["light", "dark"]) {
    const page = await context.newPage();
    page.on(
      "console",
      (message) => message.type() === "error" && console.log("console:", message.text()),
    );
    page.on("pageerror", (error) => console.log("error:", error.message));
    await page.setViewportSize(viewport);
    await page.emulateMedia({ colorScheme: scheme });
    for (const route of ROUTES) {
      await page.goto(`${base}/#/${route}`);
      await page.reload();
      await page.waitForTimeout(700);
      const name = `${route.replaceAll("/", "-") || "bench"}-${size}-${scheme}`;
      await page.screenshot({ path: join(folder, `${name}.png`) });
      await page.evaluate(axe);
      const found = await page.evaluate((tags) => window.axe.run({ runOnly: tags }), TAGS);
      for (const { id, help, nodes } of found.violations) {
        violations++;
        console.log(
          `${name}: ${id}: ${help}: ${nodes
            .map((node) => `${node.target} ${node.any[0]?.message ?? ""}`)
            .slice(0, 3)
            .join(" | ")}`,
        );
      }
    }
    await page.close();
  }
await context.close();
console.log(`${violations} violations`);
process.exit(violations ? 1 : 0);
