// Prints what DuckDB and Polars see in the Parquet files of a store, as JSON: all rows
// of both, sorted, and how many DuckDB finds from a time on.
//   node open.mjs FOLDER-WITH-node_modules FOLDER-OF-THE-STORE SERIES MICROSECONDS
import { createRequire } from "node:module";
import path from "node:path";
import fs from "node:fs";
const [modules, store, series, from] = process.argv.slice(2);
const require = createRequire(path.join(modules, "package.json"));
const { DuckDBInstance } = require("@duckdb/node-api");
const pl = require("nodejs-polars");
const db = await (await DuckDBInstance.create(":memory:")).connect();
const dir = `${store}/data/${series}`;
const ensemble = dir.endsWith(".members");
const ask = async (sql) => (await db.runAndReadAll(sql)).getRowsJson();
const rows = await ask(`select ${ensemble ? "member" : "0"}, epoch_us(time)::varchar, value, qualifier, approval, flag, flag_test,
  epoch_us(retrieved)::varchar from read_parquet('${dir}/*.parquet') order by all`);
const [[since]] = await ask(`select count(*)::int from read_parquet('${dir}/*.parquet') where time >= make_timestamptz(${from})`);
const polars = [];
for (const name of fs.readdirSync(dir)) {
  const df = pl.readParquet(path.join(dir, name)).select(
    ...(ensemble ? [pl.col("member")] : [pl.lit(0).alias("member")]), pl.col("time").cast(pl.Int64).cast(pl.Utf8), pl.col("value"), pl.col("qualifier"),
    pl.col("approval"), pl.col("flag"), pl.col("flag_test"), pl.col("retrieved").cast(pl.Int64).cast(pl.Utf8));
  polars.push(...df.rows());
}
polars.sort((a, b) => a[0] - b[0] || Number(BigInt(a[1]) - BigInt(b[1])));
console.log(JSON.stringify({ rows, since, polars }));
