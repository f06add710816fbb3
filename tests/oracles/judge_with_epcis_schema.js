// Says what the EPCIS schema has against a document on standard input: "null" is nothing. Formats are checked: without them the
// schema lets unknown steps of the business pass for extensions.
const [modules, schema] = process.argv.slice(2);
const Ajv = require(modules + "/ajv").default;
const addFormats = require(modules + "/ajv-formats").default;

const fs = require("fs");
const ajv = addFormats(new Ajv({ strict: false }), { mode: "full" });
const validate = ajv.compile(JSON.parse(fs.readFileSync(schema, "utf8")));
const fits = validate(JSON.parse(fs.readFileSync(0, "utf8")));
process.stdout.write(JSON.stringify(fits ? null : validate.errors));
