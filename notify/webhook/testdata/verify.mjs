// A receiver that verifies with the library of Standard Webhooks, and says what it took.
const library = await import(process.argv[2] + "/node_modules/standardwebhooks/dist/index.js");
const Webhook = library.Webhook ?? library.default.Webhook;
import { readFileSync } from "node:fs";
const { secret, headers, body } = JSON.parse(readFileSync(0, "utf8"));
try { console.log(JSON.stringify(new Webhook(secret).verify(body, headers))); }
catch (e) { console.log(JSON.stringify({ refused: String(e.message) })); }
