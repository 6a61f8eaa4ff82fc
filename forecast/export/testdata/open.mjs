// Opens exported files in DuckDB, Polars and Apache Arrow for JavaScript and prints
// what they saw as JSON. .ci/others installs the three and prints the folder:
//   node open.mjs FOLDER-WITH-node_modules FOLDER-WITH-EXPORTS
import { createRequire } from "node:module";
import path from "node:path";
import fs from "node:fs";
const [modules, dir] = process.argv.slice(2);
const require = createRequire(path.join(modules, "package.json"));
const { DuckDBInstance } = require("@duckdb/node-api");
const pl = require("nodejs-polars");
const arrow = require("apache-arrow");
const out = {};
const db = await (await DuckDBInstance.create(":memory:")).connect();
const ask = async (from) => {
  const r = await db.runAndReadAll(`select count(*)::int as n, sum(p) as p, count(distinct river)::int as rivers,
    min(day)::varchar as first_day, count(window_peak_p50)::int as windows, max(issued_at)::timestamptz at time zone 'UTC' as issued,
    any_value(river_name) as "name", count(*) filter (where fishable)::int as fishable from ${from}`);
  const o = r.getRowObjectsJson()[0];
  return o;
};
out.parquet = await ask(`read_parquet('${dir}/out.parquet')`);
out.csv = await ask(`read_csv('${dir}/out.csv')`);
out.json = await ask(`(select unnest(rows, recursive := true) from read_json('${dir}/out.json', maximum_object_size = 1000000000))`);
const kv = await db.runAndReadAll(`select decode(key) k, decode(value) v from parquet_kv_metadata('${dir}/out.parquet')`);
out.metadata = Object.fromEntries(kv.getRowObjectsJson().map((r) => [r.k, r.v]));
const types = await db.runAndReadAll(`describe select * from read_parquet('${dir}/out.parquet')`);
out.types = Object.fromEntries(types.getRowObjectsJson().map((r) => [r.column_name, r.column_type]));
const efi = await db.runAndReadAll(`select count(*)::int as n, sum(prediction) as p, count(distinct site_id)::int as rivers from read_parquet('${dir}/efi.parquet')`);
out.efi = efi.getRowObjectsJson()[0];
const table = arrow.tableFromIPC(fs.readFileSync(`${dir}/out.arrow`)); // no codec is registered
let p = 0;
for (const v of table.getChild("p")) p += v;
const windows = table.getChild("window_peak_p50");
out.arrow_js = { n: table.numRows, p, windows: table.numRows - windows.nullCount, name: table.getChild("river_name").get(0),
  first_day: new Date(Number(table.getChild("day").get(0))).toISOString().slice(0, 10), comment: table.schema.metadata.get("comment"), water: table.getChild("water_p50").get(0) };
const df = pl.readIPC(fs.readFileSync(`${dir}/out.arrow`));
out.arrow = { n: df.height, p: df.getColumn("p").sum(), windows: df.height - df.getColumn("window_peak_p50").nullCount(), name: df.getColumn("river_name").get(0) };
const dp = pl.readParquet(`${dir}/out.parquet`);
out.polars_parquet = { n: dp.height, p: dp.getColumn("p").sum() };
console.log(JSON.stringify(out));
