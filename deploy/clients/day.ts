// A till's day and a label printer's day, against a running Tubtrail. See README.md for how to generate tubtrail.ts.

import { randomUUID } from "node:crypto";
import createClient, { type Client } from "openapi-fetch";
import type { components, paths } from "./tubtrail.js";

type Lot = components["schemas"]["Lot"];
type Problem = components["schemas"]["ProblemDetails"];
type House = Client<paths>;

function setting(name: string): string {
  const value = process.env[name];
  if (!value) throw new Error(`set ${name}`);
  return value;
}

// A device signs in with the token that was shown when it was created; it has no session.
function signIn(token: string): House {
  return createClient<paths>({ baseUrl: setting("HOUSE"), headers: { Authorization: `Bearer ${token}` } });
}

// Every command has a key of its own: sent again under the same key, it is done once.
const key = () => ({ "Idempotency-Key": randomUUID() });

// What the house refuses, it explains in a sentence for whoever stands at the counter.
class Refused extends Error {
  constructor(readonly problem: Problem) {
    super(problem.detail);
  }
}

function done<T>(answer: { data?: T; error?: Problem }): T {
  if (answer.error) throw new Refused(answer.error);
  if (answer.data === undefined) throw new Error("the answer is empty");
  return answer.data;
}

async function tubsAt(house: House, site: string): Promise<Lot[]> {
  const query = { kind: "tub" as const, site, limit: 500 };
  return done(await house.GET("/v1/lots", { params: { query } })).items;
}

const isAt = (lot: Lot, site: string, place: string) =>
  lot.places.some((holding) => holding.site === site && holding.state === place && holding.grams > 0);

async function openOne(house: House, site: string): Promise<Lot> {
  for (const tub of (await tubsAt(house, site)).filter((tub) => isAt(tub, site, "available"))) {
    const path = { lot: tub.lot };
    const answer = await house.POST("/v1/lots/{lot}/opening", { params: { path, header: key() }, body: { site } });
    if (answer.response.status === 409) {
      console.log(`refused: ${answer.error?.detail}`);
      continue;
    }
    console.log(`opened ${tub.lot} (${tub.name}): ${done(answer).open_grams} g`);
    return tub;
  }
  throw new Error("no tub can be opened");
}

async function till(house: House, site: string): Promise<void> {
  const me = done(await house.GET("/v1/me"));
  console.log(`till: ${me.actor} at ${me.roles.map((role) => role.site).join(", ")}`);

  const tub = await openOne(house, site);
  const path = { lot: tub.lot };
  const portions = { site, portions: 2 };
  const served = await house.POST("/v1/lots/{lot}/servings", { params: { path, header: key() }, body: portions });
  console.log(`served ${done(served).grams} g, ${done(served).open_grams} g left`);

  const scan = done(await house.POST("/v1/scans", { body: { site, text: tub.lot } }));
  if (scan.kind !== "lot") throw new Error(`the tub's own label says ${scan.kind}`);
  console.log(`scanned: ${scan.lot.name}`);

  const asked = { site, avoid: ["hazelnut", "milk"], lots: [tub.lot] };
  const check = done(await house.POST("/v1/allergen-checks", { body: asked }));
  for (const allergen of check.tubs[0]?.allergens ?? []) console.log(`${allergen.name}: ${allergen.answer}`);
  console.log(`caution: ${check.caution}`);

  const emptied = await house.POST("/v1/lots/{lot}/emptying", { params: { path, header: key() }, body: { site } });
  console.log(`emptied: the last ${done(emptied).grams} g were served too`);
}

// The dots across a picture stand in its head (PNG, second edition, 11.2.2).
const dotsAcross = (picture: ArrayBuffer) => new DataView(picture).getUint32(16);

// What stands on the tub, as words and as a picture; then it is printed, unless it was before.
async function label(house: House, lot: string): Promise<void> {
  const path = { lot };
  const words = await house.GET("/v1/lots/{lot}/label.json", { params: { path } });
  if (words.response.status === 409) {
    console.log(`  no label: ${words.error?.detail}`);
    return;
  }
  console.log(`  says: ${done(words).ingredients?.map((piece) => piece.text).join("")}`);
  const picture = await house.GET("/v1/lots/{lot}/label.png", { params: { path }, parseAs: "arrayBuffer" });
  console.log(`  picture: ${dotsAcross(done(picture))} dots across`);

  if (done(await house.GET("/v1/lots/{lot}/prints", { params: { path } })).items.length > 0) return;
  const body = { printer: setting("PRINTER"), copies: 1 };
  const asked = done(await house.POST("/v1/lots/{lot}/prints", { params: { path, header: key() }, body }));
  const print = done(await house.GET("/v1/prints/{print}", { params: { path: { print: asked.print } } }));
  console.log(`  print ${print.number} on ${print.printer}: ${print.state}`);
}

async function labelPrinter(house: House, site: string): Promise<void> {
  for (const { lot } of (await tubsAt(house, site)).slice(-10)) {
    const path = { lot };
    const tub = done(await house.GET("/v1/lots/{lot}", { params: { path } }));
    const contents = done(await house.GET("/v1/lots/{lot}/contents", { params: { path } }));
    console.log(`label ${tub.lot}: ${tub.name}, ${tub.grams} g, made ${tub.came_to_be_at}`);
    console.log(`  as of entry ${contents.journal_position}: ${contents.caution}`);
    if (isAt(tub, site, "available")) await label(house, lot);
  }
}

await till(signIn(setting("TILL_TOKEN")), setting("TILL_SITE"));
await labelPrinter(signIn(setting("PRINTER_TOKEN")), setting("PRINTER_SITE"));
