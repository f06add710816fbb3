// Drives Chromium at the pages. Reads one question a line, {"do": ..., ...}, and writes one answer a line.
// Arguments: the folder with playwright-core and axe-core, and a folder for pictures.
import { readFileSync } from "node:fs";
import { createRequire } from "node:module";
import { createInterface } from "node:readline";

const [modules, shots] = process.argv.slice(2);
const { chromium } = createRequire(`${modules}/`)("playwright-core");
const axe = readFileSync(`${modules}/axe-core/axe.min.js`, "utf8");

const SIZES = {
  phone: { width: 390, height: 844 },
  tablet: { width: 1024, height: 768 },
  desk: { width: 1440, height: 900 },
};
// What a person at a counter waits at most, generously: a machine that compiles beside it is slow.
const PATIENCE = 20000;
const WCAG = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"];

const browser = await chromium.launch({
  executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium",
  args: ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync"],
});
let context, page, base, name;
let bytes = 0;
const requested = [];
const elsewhere = [], complaints = [];

async function begin(asked) {
  base = asked.base;
  name = `${asked.size}-${asked.scheme}`;
  context = await browser.newContext({ viewport: SIZES[asked.size], colorScheme: asked.scheme, hasTouch: asked.size !== "desk", locale: "en-GB" });
  context.setDefaultTimeout(PATIENCE);
  page = await context.newPage();
  page.on("request", (request) => request.url().startsWith(base) || elsewhere.push(request.url()));
  page.on("request", (request) => {
    requested.push(request.url());
    if (request.isNavigationRequest() && request.frame() === page.mainFrame()) leaving = true;
  });
  for (const come of ["load", "download", "requestfailed"]) page.on(come, () => (leaving = false));
  page.on("pageerror", (error) => complaints.push(String(error)));
  page.on("console", (message) => {
    // What was not found or not reached is told by the page itself.
    if (message.type() === "error" && !/Failed to load resource|ERR_/.test(message.text())) complaints.push(message.text());
  });
  page.on("requestfinished", async (request) => {
    const sizes = await request.sizes().catch(() => null);
    if (sizes) bytes += sizes.responseBodySize + sizes.responseHeadersSize;
  });
  await page.goto(base + asked.path);
  await page.keyboard.press("Tab");
  await page.fill("#login", asked.login);
  await page.fill("#password", asked.password);
  await page.keyboard.press("Enter");
  await page.waitForURL((url) => url.pathname === asked.path);
}

// A part of the page, the whole of it where none is named.
const part = (inside) => (inside ? page.locator(inside).first() : page);
const press = (what) => (page.viewportSize().width < 1200 ? what.tap() : what.click());
// What a tap or a key leads to: the next page, where it leads to one, has come.
let leaving = false;
async function settled() {
  await page.waitForTimeout(100);
  const until = Date.now() + PATIENCE;
  while (leaving && Date.now() < until) await page.waitForTimeout(20);
  await page.waitForLoadState("load");
}

const answered = () => page.waitForSelector("#answers:not([aria-busy]) .answers");
const shoot = (what) => page.screenshot({ path: `${shots}/${name}-${what}.png`, fullPage: true });
const choice = (word) => page.locator(`input[name=avoid][value=${word}]`);

async function reveal(word) {
  const inside = page.locator(`details:not([open]):has(input[value=${word}]) > summary`);
  if (await inside.count()) await inside.click();
}

// What a person does on any page: what is meant is named by the words on it.
const anywhere = {
  begin,
  async go({ path }) {
    await page.goto(base + path);
  },
  at: () => new URL(page.url()).pathname + new URL(page.url()).search,
  async press_button({ name: words, inside }) {
    await press(part(inside).getByRole("button", { name: words, exact: true }).first());
    await settled();
  },
  async press_link({ name: words, inside }) {
    await press(part(inside).getByRole("link", { name: words }).first());
    await settled();
  },
  // By the keyboard alone.
  async key_button({ name: words, inside }) {
    await part(inside).getByRole("button", { name: words, exact: true }).first().focus();
    await page.keyboard.press("Enter");
    await settled();
  },
  async reveal({ name: words, inside }) {
    await press(part(inside).locator("summary", { hasText: words }).first());
  },
  async fill({ label, text, inside }) {
    await part(inside).getByLabel(label, { exact: true }).first().fill(text);
  },
  async pick({ label, option, inside }) {
    await part(inside).getByLabel(label, { exact: true }).first().selectOption(option);
  },
  async tick({ label, inside }) {
    await part(inside).getByLabel(label, { exact: true }).first().check({ force: true });
  },
  async upload({ label, file, inside }) {
    await part(inside).getByLabel(label, { exact: true }).first().setInputFiles(file);
  },
  key: ({ key }) => page.keyboard.press(key),
  // A hand scanner types, whatever has the focus, and ends with Enter.
  async scans({ text }) {
    await page.evaluate(() => document.activeElement.blur());
    await page.keyboard.type(text, { delay: 5 });
    await page.keyboard.press("Enter");
    await settled();
  },
  see: ({ css, state: wanted }) => page.waitForSelector(css, { state: wanted ?? "visible" }).then(() => null),
  text_of: ({ css }) => page.locator(css).first().innerText(),
  texts_of: ({ css }) => page.locator(css).allInnerTexts(),
  // Of a drawing too, which has no inner text.
  contents_of: ({ css }) => page.locator(css).allTextContents(),
  attribute_of: ({ css, name: attribute }) => page.locator(css).first().getAttribute(attribute),
  count_of: ({ css }) => page.locator(css).count(),
  // What stands in an attribute of all that are found.
  values_of: ({ css, attribute }) => page.locator(css).evaluateAll((found, name) => found.map((one) => one.getAttribute(name)), attribute),
  // How often something was asked for since the beginning.
  asked_for: ({ part: words }) => requested.filter((url) => url.includes(words)).length,
  value_of: ({ label }) => page.getByLabel(label, { exact: true }).first().inputValue(),
  async download({ name: words }) {
    const coming = page.waitForEvent("download");
    await page.getByRole("link", { name: words }).first().click();
    return (await coming).path();
  },
  // What a button leads to is a file.
  async download_by_button({ name: words }) {
    const coming = page.waitForEvent("download");
    await press(page.getByRole("button", { name: words, exact: true }).first());
    const file = await coming;
    return { path: await file.path(), name: file.suggestedFilename(), at: new URL(file.url()).pathname };
  },
  // By the keyboard alone.
  async key_link({ name: words, inside }) {
    await part(inside).getByRole("link", { name: words }).first().focus();
    await page.keyboard.press("Enter");
    await settled();
  },
  // As the browser prints it, on the paper that the style asks for.
  async paper({ what }) {
    const path = `${shots}/${what}.pdf`;
    await page.pdf({ path, preferCSSPageSize: true, printBackground: true });
    return path;
  },
  picture: ({ what }) => shoot(what).then(() => null),
  // How long a page took, as the browser measured it, in milliseconds.
  times: () => page.evaluate(() => {
    const [way] = performance.getEntriesByType("navigation");
    const paint = performance.getEntriesByName("first-contentful-paint")[0];
    return { answered: way.responseEnd, painted: paint ? paint.startTime : null };
  }),
};

const deeds = {
  ...anywhere,
  async tap({ choice: word }) {
    await reveal(word);
    const box = page.locator(`label.choice:has(input[value=${word}])`);
    await (page.viewportSize().width < 1200 ? box.tap() : box.click());
    await page.waitForURL(new RegExp(`avoid=${word}`));
    await answered();
    await shoot(`answers-${word}`);
  },
  async press({ choice: word }) {
    await reveal(word);
    await choice(word).focus();
    await page.keyboard.press("Space");
    await page.waitForURL(new RegExp(`avoid=${word}`));
    await answered();
  },
  answers: () => page.locator(".answers > li > strong").allInnerTexts(),
  text: () => page.locator("body").innerText(),
  async why() {
    const first = page.locator(".answers details").first();
    await first.locator("summary").focus();
    await page.keyboard.press("Enter");
    await shoot("why");
    return first.innerText();
  },
  async tubs() {
    const numbers = await page.locator(".tub .foot .small").allInnerTexts();
    return numbers.map((text) => text.replace("Tub ", ""));
  },
  async open({ lot }) {
    await page.locator(`form[action$="/${lot}/open"] button`).click();
    await page.waitForSelector(`form[action$="/${lot}/empty"]`);
  },
  async empty({ lot }) {
    await page.locator(`form[action$="/${lot}/empty"] button`).click();
    await page.waitForSelector(`form[action$="/${lot}/empty"]`, { state: "detached" });
  },
  async scan({ text }) {
    await page.evaluate(() => document.activeElement.blur());
    await page.keyboard.type(text, { delay: 5 });
    await page.keyboard.press("Enter");
    await page.waitForURL(/lot=/);
    await answered();
  },
  // The moment the hold can be seen is taken in the page itself.
  expect_halt: () => page.waitForSelector(".answers").then(() => null),
  async halt() {
    const found = await page.waitForSelector(".tub.stop");
    await shoot("halt");
    return { text: await found.innerText(), can_be_emptied: (await found.$("form")) !== null };
  },
  offline: ({ offline }) => context.setOffline(offline).then(() => null),
  async stale() {
    await page.waitForSelector("#stale", { state: "visible" });
    await shoot("stale");
    return state();
  },
  async fresh() {
    await page.waitForSelector("#stale", { state: "hidden" });
    await page.waitForSelector(".answers", { state: "visible" });
    return state();
  },
  async look({ path }) {
    bytes = 0;
    await page.goto(base + path);
    await page.waitForTimeout(300);
    await page.evaluate(axe);
    const found = await page.evaluate((tags) => globalThis.axe.run(document, { runOnly: tags }), WCAG);
    const wider = await page.evaluate(() => document.documentElement.scrollWidth > innerWidth);
    await shoot(`look-${path.replace(/\W+/g, "-")}`);
    const violations = found.violations.map((one) => `${one.id}: ${one.nodes[0].html}: ${one.nodes[0].failureSummary}`);
    return { violations, bytes, wider_than_the_screen: wider };
  },
  async end() {
    await browser.close();
    return { elsewhere, complaints };
  },
};

const state = async () => ({
  stale: await page.locator("#stale").isVisible(),
  answers: await page.locator(".answers").first().isVisible(),
});

for await (const line of createInterface({ input: process.stdin })) {
  const question = JSON.parse(line);
  let answer;
  try {
    answer = { done: (await deeds[question.do](question)) ?? null };
  } catch (error) {
    if (page) await shoot(`failed-${question.do}`).catch(() => null);
    answer = { failed: String(error) };
  }
  console.log(JSON.stringify(answer));
  if (question.do === "end") break;
}
process.exit(0);
