// Opens exported files in DuckDB and Polars and prints what they saw as JSON.
// Usage: NODE_PATH is not read by modules, so run it from a folder that holds
// node_modules with @duckdb/node-api, nodejs-polars and its binary
// (npm install @duckdb/node-api nodejs-polars nodejs-polars-linux-x64-gnu):
//   node open.mjs FOLDER-WITH-node_modules FOLDER-WITH-EXPORTS
import { createRequire } from "node:module";
import path from "node:path";
import fs from "node:fs";
const [modules, dir] = process.argv.slice(2);
const require = createRequire(path.join(modules, "package.json"));
const { DuckDBInstance } = require("@duckdb/node-api");
const pl = require("nodejs-polars");
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
const df = pl.readIPC(fs.readFileSync(`${dir}/out.arrow`));
out.arrow = { n: df.height, p: df.getColumn("p").sum(), windows: df.height - df.getColumn("window_peak_p50").nullCount(), name: df.getColumn("river_name").get(0) };
const dp = pl.readParquet(`${dir}/out.parquet`);
out.polars_parquet = { n: dp.height, p: dp.getColumn("p").sum() };
console.log(JSON.stringify(out));
