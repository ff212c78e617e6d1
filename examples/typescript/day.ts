// Open concerns of a site, and how far its duties are done. Runs where there is `fetch`: in Node and in a browser alike,
// because it speaks gRPC-Web.
import { Code, ConnectError, createClient, type Transport } from "@connectrpc/connect";
import { ConcernLevel, ConcernService, type Concern } from "./gen/holt/v1/concerns_pb.js";
import { Duty } from "./gen/holt/v1/checks_pb.js";
import { PeopleService } from "./gen/holt/v1/people_pb.js";
import { ReportService } from "./gen/holt/v1/reports_pb.js";
import { BadRequestSchema, ErrorInfoSchema } from "./gen/google/rpc/error_details_pb.js";

export type Signed = { headers: { authorization: string } };

export async function signIn(transport: Transport, signInName: string, password: string): Promise<Signed> {
  const { tokens } = await createClient(PeopleService, transport).signIn({ signInName, password });
  return { headers: { authorization: `Bearer ${tokens?.accessToken}` } };
}

// The open concerns, page by page, worst first.
export async function* concerns(transport: Transport, signed: Signed, site: string): AsyncGenerator<Concern> {
  const service = createClient(ConcernService, transport);
  let token = "";
  do {
    const answer = await service.listConcerns({ site, page: { token } }, signed);
    for (const one of answer.concerns) yield one;
    token = answer.page?.nextToken ?? "";
  } while (token);
}

export async function day(transport: Transport, signed: Signed, site: string): Promise<string[]> {
  const lines: string[] = [];
  for await (const one of concerns(transport, signed, site)) {
    lines.push(`${ConcernLevel[one.level]} ${one.seen}`);
  }
  const report = await createClient(ReportService, transport).getSiteDay({ site }, signed);
  for (const { name, total, coverage } of report.sites) {
    lines.push(`${name}: ${total?.males}.${total?.females}.${total?.unknown}`);
    for (const { duty, doneInTime, due } of coverage) {
      lines.push(`${Duty[duty].toLowerCase()}: ${doneInTime} of ${due} in time`);
    }
  }
  return [...lines, report.caution];
}

// What the server says is wrong, where, and what to do instead; and the reason, for programs.
export function refusal(error: unknown): string[] {
  const refused = ConnectError.from(error);
  const [info] = refused.findDetails(ErrorInfoSchema);
  const fields = refused.findDetails(BadRequestSchema).flatMap((request) => request.fieldViolations);
  return [
    info?.reason ?? Code[refused.code],
    refused.rawMessage,
    ...(info ? [`instead: ${info.metadata.mend}`] : []),
    ...fields.map((one) => `${one.field}: ${one.description}`),
  ];
}
