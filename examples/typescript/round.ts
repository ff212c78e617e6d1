// Records a round: HOLT_NAME=… HOLT_PASSWORD=… npx tsx round.ts QUI Larch=1424 Fennel=1191 (in grams)
import { randomUUID } from "node:crypto";
import { createClient } from "@connectrpc/connect";
import { createGrpcTransport } from "@connectrpc/connect-node";
import { PeopleService } from "./gen/holt/v1/people_pb.js";
import { ReadingOutcome, WeightService } from "./gen/holt/v1/weights_pb.js";

const { HOLT_SERVER: baseUrl = "http://127.0.0.1:7465", HOLT_NAME: signInName, HOLT_PASSWORD: password } = process.env;
const [site, ...readings] = process.argv.slice(2);
const transport = createGrpcTransport({ baseUrl });
const { tokens } = await createClient(PeopleService, transport).signIn({ signInName, password });
const headers = { authorization: `Bearer ${tokens?.accessToken}` };
const round = readings.map((text) => text.split("=")).map(([animal, grams]) => ({
  animal, result: { case: "mass" as const, value: { milligrams: BigInt(Math.round(Number(grams) * 1000)) } },
}));
const asked = { requestId: randomUUID(), site, readings: round };
const { answers } = await createClient(WeightService, transport).recordWeights(asked, { headers });
for (const { index, outcome, hint, refusal } of answers)
  console.log(round[index].animal, ReadingOutcome[outcome].toLowerCase(), hint || (refusal?.say ?? ""));
