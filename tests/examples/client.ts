// A client that the compiler holds against the contract: opens an order, sends readings, posts a message of another
// system, walks pages, checks a webhook. Types: openapi-typescript openapi/openapi.json -o api.ts
import { createHmac, timingSafeEqual } from "node:crypto";
import type { components, operations } from "./api";

type Order = components["schemas"]["WorkOrderRead"];
type OrderRequest = components["schemas"]["WorkOrderRequest"];
type Readings = components["schemas"]["Readings"];
type Judged = components["schemas"]["JudgedReadings"];
type Stay = components["schemas"]["StayRead"];
type Event = components["schemas"]["EventRead"];
type Problem = components["schemas"]["Problem"];
type Message = operations["take_in"]["requestBody"]["content"]["application/json"];

const [baseUrl, key] = process.argv.slice(2) as [string, string];

class Refused extends Error {
  constructor(readonly problem: Problem) {
    super(`${problem.code}: ${problem.detail}`);
  }
}

async function asked<T>(method: "GET" | "POST", path: string, body?: unknown, idempotencyKey?: string): Promise<T> {
  const headers: Record<string, string> = { Authorization: `Bearer ${key}` };
  if (body !== undefined) headers["Content-Type"] = "application/json";
  if (idempotencyKey !== undefined) headers["Idempotency-Key"] = idempotencyKey;
  const sent = body === undefined ? { method, headers } : { method, headers, body: JSON.stringify(body) };
  const answer = await fetch(baseUrl + path, sent);
  const document: unknown = await answer.json();
  if (!answer.ok) throw new Refused(document as Problem);
  return document as T;
}

async function* stays(): AsyncGenerator<Stay> {
  let next: string | null = "/v1/stays?limit=50";
  while (next !== null) {
    const page: components["schemas"]["StayPage"] = await asked("GET", next);
    yield* page.items;
    next = page.next;
  }
}

// Standard Webhooks 1.0.0: HMAC-SHA256 over id.timestamp.body with the bytes behind whsec_
export function isSigned(secret: string, id: string, timestamp: string, body: string, signatures: string): boolean {
  if (Math.abs(Date.now() / 1000 - Number(timestamp)) > 300) return false;
  const bytes = Buffer.from(secret.replace(/^whsec_/, ""), "base64");
  const expected = createHmac("sha256", bytes).update(`${id}.${timestamp}.${body}`).digest();
  return signatures.split(" ").some((each) => {
    const [version, value] = each.split(",");
    const sent = Buffer.from(value ?? "", "base64");
    return version === "v1" && sent.length === expected.length && timingSafeEqual(sent, expected);
  });
}

function told(event: Event): string {
  return `${event.type} of ${event.subject}`;
}

async function main(): Promise<void> {
  const request: OrderRequest = {
    external: { system: "plant-a", number: "TS-1" },
    asset: {
      tag: "TS-FAN",
      name: "A fan",
      shafts: [
        {
          name: "main",
          drives: [{ at: { value: 3.4, unit: "m" }, kind: "coupling" }],
          positions: [
            { name: "tail", at: { value: 0, unit: "m" }, bearing: { designation: "22216 K/C3" }, seat: "adapter_sleeve" },
            { name: "drive", at: { value: 3, unit: "m" }, bearing: { designation: "22216 K/C3" }, seat: "adapter_sleeve" },
          ],
        },
      ],
    },
    positions: ["tail"],
  };
  const order: Order = await asked("POST", "/v1/work-orders", request, "ts-1");
  const readings: Readings = {
    readings: [
      {
        kind: "initial_clearance",
        position: "tail",
        method: "blades",
        values: [
          { row: 1, value: { value: 0.004, unit: "in" } },
          { row: 2, value: { value: 0.004, unit: "in" } },
        ],
        taken_at: "2026-01-07T09:10:00Z",
        taken_by: "A. Fitter",
      },
    ],
  };
  const judged: Judged = await asked("POST", `/v1/work-orders/${order.id}/readings`, readings);
  for (const each of judged.items) console.log(each.verdict, each.next);
  const message: Message = {
    JobOrder: {
      ID: "TS-2",
      EquipmentRequirement: [{ ID: "1", EquipmentID: ["TS-FAN"] }],
      PhysicalAssetRequirement: [{ ID: "2", PhysicalAssetID: ["drive"] }],
    },
  };
  await asked("POST", "/v1/inbound/b2mml-job-order", message);
  let count = 0;
  for await (const stay of stays()) count += stay.designation.length > 0 ? 1 : 0;
  const events: components["schemas"]["EventPage"] = await asked("GET", "/v1/events?limit=5");
  console.log(count, "stays;", events.items.map(told).join(", "));
  try {
    await asked("GET", "/v1/work-orders/TS-1");
  } catch (error) {
    if (!(error instanceof Refused)) throw error;
    console.log(error.message);
  }
}

void main();
