// Every screen of the invented shop: WCAG 2.2 AA by axe-core in light and dark, nothing wider than a
// tablet, controls that a thumb can hit. PICTURES names a folder for a picture of each.
import assert from "node:assert/strict";
import { mkdirSync } from "node:fs";
import { join } from "node:path";
import { after, test } from "node:test";
import { AXE, closePage, openPage } from "./bench.mjs";
import { base, context, DIALOGS, end, SCREENS, show, SIZES, watchAsked } from "./shown.mjs";

after(end);

const pictures = process.env.PICTURES;
if (pictures) mkdirSync(pictures, { recursive: true });

/* ---- axe, sizes ---------------------------------------------------------------------------------- */

const TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"];

async function axe(page) {
  await page.evaluate(AXE);
  const { violations } = await page.evaluate((tags) => window.axe.run({ runOnly: tags }), TAGS);
  return violations.map(
    ({ id, nodes }) => `${id}: ${nodes.map(({ target }) => target.join(" ")).slice(0, 3)}`,
  );
}

/** Controls under 48 px, and what makes the page scroll sideways. */
const misfits = (page) =>
  page.evaluate(() => {
    const found = [];
    const width = document.documentElement.scrollWidth;
    if (width > window.innerWidth) found.push(`the page is ${width} px wide`);
    const typed = "input:not([type=radio], [type=checkbox], [type=file])";
    for (const one of document.querySelectorAll(`button, .button, select, textarea, ${typed}`)) {
      const { height, width } = (one.closest(".number-box") ?? one).getBoundingClientRect();
      if (!width || (height >= 47.5 && width >= 47.5)) continue;
      const name = one.getAttribute("aria-label") ?? one.textContent ?? one.className;
      found.push(`${one.tagName} “${name}” is ${Math.round(width)} by ${Math.round(height)} px`);
    }
    return found;
  });

for (const [size, viewport] of Object.entries(SIZES))
  for (const colorScheme of ["light", "dark"])
    test(`every screen at ${size} size, ${colorScheme}`, async () => {
      const page = await openPage(context, base);
      watchAsked(page);
      await page.setViewportSize(viewport);
      await page.emulateMedia({ colorScheme });
      const wrong = [];
      for (const name of Object.keys({ ...SCREENS, ...DIALOGS })) {
        await show(page, name);
        if (pictures)
          await page.screenshot({ path: join(pictures, `${name}-${size}-${colorScheme}.png`) });
        for (const words of [...(await axe(page)), ...(await misfits(page))])
          wrong.push(`${name}: ${words}`);
      }
      assert.deepEqual(wrong, []);
      await closePage(page);
    });
