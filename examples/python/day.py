"""Prints the open concerns of a site and how far its duties are done: HOLT_NAME=… HOLT_PASSWORD=… python day.py QUI"""
import os
import sys

import grpc
from google.rpc import error_details_pb2
from grpc_status import rpc_status
from holt.v1 import checks_pb2, concerns_pb2, concerns_pb2_grpc, page_pb2
from holt.v1 import people_pb2, people_pb2_grpc, reports_pb2, reports_pb2_grpc


def refusal(error):
    """What the server says is wrong, where, and what to do instead; and the reason, for programs."""
    lines = [error.details()]
    status = rpc_status.from_call(error)
    for detail in status.details if status else []:  # no server, no status
        info, fields = error_details_pb2.ErrorInfo(), error_details_pb2.BadRequest()
        if detail.Unpack(info):
            lines = [info.reason, *lines, f"instead: {info.metadata['mend']}"]
        elif detail.Unpack(fields):
            lines += [f"{one.field}: {one.description}" for one in fields.field_violations]
    return "\n  ".join(lines)


def concerns(channel, shown, site):
    """The open concerns of a site, page by page, worst first."""
    service, token = concerns_pb2_grpc.ConcernServiceStub(channel), ""
    while True:
        asked = concerns_pb2.ListConcernsRequest(site=site, page=page_pb2.PageRequest(token=token))
        answer = service.ListConcerns(asked, metadata=shown)
        yield from answer.concerns
        token = answer.page.next_token
        if not token:
            return


def main():
    channel = grpc.insecure_channel(os.environ.get("HOLT_ADDRESS", "127.0.0.1:7465"))
    people = people_pb2_grpc.PeopleServiceStub(channel)
    who = people_pb2.SignInRequest(sign_in_name=os.environ["HOLT_NAME"], password=os.environ["HOLT_PASSWORD"])
    shown = [("authorization", f"Bearer {people.SignIn(who).tokens.access_token}")]
    for one in concerns(channel, shown, sys.argv[1]):
        level = concerns_pb2.ConcernLevel.Name(one.level).removeprefix("CONCERN_LEVEL_")
        print(level, one.seen)
    reports = reports_pb2_grpc.ReportServiceStub(channel)
    report = reports.GetSiteDay(reports_pb2.GetSiteDayRequest(site=sys.argv[1]), metadata=shown)
    for site in report.sites:
        held = site.total
        print(f"{site.name}: {held.males}.{held.females}.{held.unknown}")
        for duty in site.coverage:
            name = checks_pb2.Duty.Name(duty.duty).removeprefix("DUTY_").lower()
            print(f"{name}: {duty.done_in_time} of {duty.due} in time")
    print(report.caution)


if __name__ == "__main__":
    try:
        main()
    except grpc.RpcError as error:
        sys.exit(refusal(error))
