// HOLT_NAME=… HOLT_PASSWORD=… npx tsx look.ts QUI
import { createGrpcWebTransport } from "@connectrpc/connect-web";
import { day, refusal, signIn } from "./day.js";

const { HOLT_SERVER: baseUrl = "http://127.0.0.1:7465", HOLT_NAME = "", HOLT_PASSWORD = "" } = process.env;
const transport = createGrpcWebTransport({ baseUrl });
try {
  const signed = await signIn(transport, HOLT_NAME, HOLT_PASSWORD);
  console.log((await day(transport, signed, process.argv[2])).join("\n"));
} catch (error) {
  console.error(refusal(error).join("\n  "));
  process.exitCode = 1;
}
