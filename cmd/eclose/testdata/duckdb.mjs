// Runs a file of SQL in DuckDB and prints the rows of its last statement, columns parted
// by a bar: node duckdb.mjs FOLDER-WITH-node_modules FILE
import { createRequire } from "node:module";
import path from "node:path";
import fs from "node:fs";
const [modules, file] = process.argv.slice(2);
const { DuckDBInstance } = createRequire(path.join(modules, "package.json"))("@duckdb/node-api");
const db = await (await DuckDBInstance.create(":memory:")).connect();
const rows = (await db.runAndReadAll(fs.readFileSync(file, "utf8"))).getRowsJson();
for (const row of rows) console.log(row.join(" | "));
