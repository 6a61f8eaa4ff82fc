// A client of the API made from its own OpenAPI document: the types of schema.d.ts
// are generated, and tsc refuses a member that the document does not have.
import createClient from "openapi-fetch";
import type { paths } from "./schema.js";

declare const process: { argv: string[] };
const root = process.argv[2];
// Of the formats of an answer this client reads those in JSON.
type Media = "application/json" | "application/problem+json" | "application/prs.coverage+json";
const client = createClient<paths, Media>({ baseUrl: root });

const { data: rivers } = await client.GET("/api/v1/rivers", { params: { query: { limit: 1 } } });
if (!rivers) { throw new Error("no rivers"); }
const river = rivers.items[0].river;
const next: string | undefined = rivers.links.find((l) => l.rel === "next")?.href;

const latest = { path: { river, issue: "latest" } };
const { data: windows } = await client.GET("/api/v1/rivers/{river}/forecasts/{issue}/windows", { params: { ...latest, query: { stage: "egg-laying", limit: 1000 } } });
const { data: flow } = await client.GET("/api/v1/rivers/{river}/forecasts/{issue}/flow", { params: { ...latest, query: { from: "2026-05-10", to: "2026-05-24" } } });
const { data: caution } = await client.GET("/api/v1/rivers/{river}/caution", { params: { path: { river } } });
const { data: verdict } = await client.GET("/api/v1/verdict");
const { data: series } = await client.GET("/api/v1/collections/series/locations/{river}", { params: { path: { river }, query: { "parameter-name": ["water_p50"] } } });
const { error, response } = await client.GET("/api/v1/rivers/{river}", { params: { path: { river: "nowhere" } } });
if (!windows || !flow || !caution || !verdict || !series || !error) { throw new Error("an answer is missing"); }

// The generated types name every member that is used here.
const p50: number | null = flow.items[flow.items.length - 1].p50_m3s;
const until: string = caution.caution.valid_until;
const known: boolean = flow.caution!.known;
console.log(JSON.stringify({
  river, next, windows: windows.items.length, stages: [...new Set(windows.items.map((w) => w.stage))], days: flow.items.length, p50, until, known,
  standing: flow.standing_caution, answer: verdict.answer, ranges: Object.keys(series.ranges), status: response.status, title: error.title,
}));
