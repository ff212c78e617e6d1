"""Records a round: HOLT_NAME=… HOLT_PASSWORD=… python round.py QUI Larch=1424 Fennel=1191 (in grams)"""
import os, sys, uuid
import grpc
from holt.v1 import mass_pb2, people_pb2, people_pb2_grpc, weights_pb2, weights_pb2_grpc

channel = grpc.insecure_channel(os.environ.get("HOLT_ADDRESS", "127.0.0.1:7465"))
who = people_pb2.SignInRequest(sign_in_name=os.environ["HOLT_NAME"], password=os.environ["HOLT_PASSWORD"])
tokens = people_pb2_grpc.PeopleServiceStub(channel).SignIn(who).tokens
shown = [("authorization", f"Bearer {tokens.access_token}")]

asked = weights_pb2.RecordWeightsRequest(request_id=str(uuid.uuid4()), site=sys.argv[1])
for animal, grams in (reading.split("=") for reading in sys.argv[2:]):
    asked.readings.add(animal=animal, mass=mass_pb2.Mass(milligrams=round(float(grams) * 1000)))
answers = weights_pb2_grpc.WeightServiceStub(channel).RecordWeights(asked, metadata=shown).answers
for answer in answers:
    outcome = weights_pb2.ReadingOutcome.Name(answer.outcome).removeprefix("READING_OUTCOME_").lower()
    print(asked.readings[answer.index].animal, outcome, answer.hint or answer.refusal.say)
