// Prints the processor time, s, that DuckDB takes with one thread to read all columns of
// our Parquet files, to write the same rows as Parquet, and to read its own file:
//   node duckdb.mjs FOLDER-WITH-node_modules FOLDER-WITH-FILES
import { createRequire } from "node:module";
import path from "node:path";
import fs from "node:fs";
const [modules, dir] = process.argv.slice(2);
const { DuckDBInstance } = createRequire(path.join(modules, "package.json"))("@duckdb/node-api");
const db = await (await DuckDBInstance.create(":memory:", { threads: "1" })).connect();
await db.run("create table warm as select range i, 'a' || (i % 7) s from range(100000)");
await db.run(`copy warm to '${dir}/warm.duck' (format parquet, compression zstd)`);
const kept = async (from) => (await timed(`create or replace temp table kept as select * from ${from}`))[0];
const timed = async (sql) => {
  const before = process.cpuUsage();
  const rows = (await db.runAndReadAll(sql)).getRowObjectsJson();
  const used = process.cpuUsage(before);
  return [(used.user + used.system) / 1e6, rows[0]];
};
const all = (from) => `select count(*)::int n, sum(value) v, sum(epoch_us(time)) t, sum(epoch_us(retrieved)) r,
  sum(approval) a, sum(flag) f, sum(length(qualifier)) q, sum(length(flag_test)) x from ${from}`;
const out = {};
let ours, own;
[out.read_ours, ours] = await timed(all(`read_parquet('${dir}/*.parquet')`));
out.keep_ours = await kept(`read_parquet('${dir}/*.parquet')`);
await db.run(`create table t as select * from read_parquet('${dir}/*.parquet')`);
[out.write] = await timed(`copy t to '${dir}/own.duck' (format parquet, compression zstd, parquet_version v2)`);
[out.read, own] = await timed(all(`read_parquet('${dir}/own.duck')`));
out.keep = await kept(`read_parquet('${dir}/own.duck')`);
out.rows = own.n;
out.same = JSON.stringify(ours) === JSON.stringify(own);
out.bytes = fs.statSync(`${dir}/own.duck`).size;
console.log(JSON.stringify(out));
