#!/usr/bin/env python3
"""A gateway in Python: what a maker needs who does not use our library. Documentation and test in one.

    pip install grpcio grpcio-tools grpcio-reflection
    gateway.py --address 127.0.0.1:7420 --unit TR-0042

It knows the files under proto/ and nothing else of rimeline. It exits 1 with a sentence on the first thing that is not
as the contract says, and may run again and again with the same unit.
"""

import argparse
import collections
import importlib
import queue
import sys
import tempfile
import time
from pathlib import Path

import grpc
from grpc_reflection.v1alpha import reflection_pb2 as reflection  # v1 has the same messages
from grpc_tools import protoc

PATIENCE_S = 60
BATCHES, ROWS, WINDOW = 60, 10, 8  # what is sent; WINDOW batches may be under way at once


def check(holds, what):
    if not holds:
        sys.exit(f"gateway.py: {what}")


def contract(folder):
    """Generates the contract's Python modules and gathers what they hold: messages, numbers, stubs."""
    out = tempfile.mkdtemp(prefix="rimeline-proto-")
    files = sorted(str(path) for path in folder.glob("rimeline/v1/*.proto"))
    done = protoc.main(["protoc", f"-I{folder}", f"--python_out={out}", f"--grpc_python_out={out}", *files])
    check(files and done == 0, f"cannot generate code from {folder}")
    sys.path.insert(0, out)
    modules = [f"rimeline.v1.{Path(file).stem}{suffix}" for file in files for suffix in ("_pb2", "_pb2_grpc")]
    return argparse.Namespace(**{k: v for module in modules for k, v in vars(importlib.import_module(module)).items()})


def services(channel):
    """The names of the services, by reflection."""
    ask = channel.stream_stream(
        "/grpc.reflection.v1.ServerReflection/ServerReflectionInfo",
        request_serializer=reflection.ServerReflectionRequest.SerializeToString,
        response_deserializer=reflection.ServerReflectionResponse.FromString,
    )
    (answer,) = ask(iter([reflection.ServerReflectionRequest(list_services="")]), timeout=PATIENCE_S)
    return {service.name for service in answer.list_services_response.service}


def batch(pb, unit, sequence, start_ms):
    """Columns of fixed-point numbers (scale: channels.proto); times and values are differences to the row before.

    Return air falls from 4.0 Cel by 0.1 a row, the discharge pressure stays at 1725 kPa, and there is no coil sensor.
    """
    return pb.Batch(
        sequence=sequence,
        units=[unit],
        base_time_ms=start_ms,
        time_delta_ms=[0] + [1000] * (ROWS - 1),
        states=[pb.State(power=pb.POWER_ON, stage=pb.STAGE_COOLING_LOW, door=pb.DOOR_CLOSED)],
        channels=[pb.CHANNEL_RETURN_AIR_CONTROL, pb.CHANNEL_DISCHARGE_PRESSURE, pb.CHANNEL_COIL],
        deltas=[40] + [-1] * (ROWS - 1) + [1725] + [0] * (ROWS - 1) + [0] * ROWS,
        absences=[pb.Absence(column=2, first_row=0, rows=ROWS, status=pb.STATUS_NOT_FITTED)],
    )


class Gateway:
    """Keeps every batch until the server has it on disk, and begins again where the server left off.

    A real one keeps `waiting` in a file: what is only in memory goes with the process, and then `epoch` must grow.
    """

    def __init__(self, pb, address, name, epoch):
        self.pb, self.address, self.name, self.epoch = pb, address, name, epoch
        self.waiting, self.acknowledged, self.sessions, self.refusals = collections.deque(), 0, 0, []

    def hello(self):
        oldest = self.waiting[0].sequence if self.waiting else self.acknowledged + 1
        clock_ms = int(time.time() * 1000)
        return self.pb.Hello(gateway=self.name, epoch=self.epoch, oldest_sequence=oldest, clock_ms=clock_ms)

    def release(self, through):
        self.acknowledged = max(self.acknowledged, through)
        while self.waiting and self.waiting[0].sequence <= through:
            self.waiting.popleft()

    def session(self, cut_after=None):
        """One connection. With `cut_after`, it is torn down after so many receipts, whatever is under way."""
        requests = queue.Queue()
        requests.put(self.pb.StreamReadingsRequest(hello=self.hello()))
        with grpc.insecure_channel(self.address, options=[("grpc.use_local_subchannel_pool", 1)]) as channel:
            answers = self.pb.IngestServiceStub(channel).StreamReadings(iter(requests.get, None), timeout=PATIENCE_S)
            sent = next(answers).welcome.acknowledged_through
            check(sent >= self.acknowledged, f"acknowledged through {self.acknowledged} before, {sent} now")
            self.sessions += 1
            self.release(sent)
            receipts = 0
            while self.waiting and receipts != cut_after:
                for item in list(self.waiting)[:WINDOW]:
                    if item.sequence > sent:
                        requests.put(self.pb.StreamReadingsRequest(batch=item))
                        sent = item.sequence
                receipt = next(answers).receipt
                receipts += 1
                self.refusals.extend(receipt.refusals)
                self.release(receipt.acknowledged_through)
            if not self.waiting:
                requests.put(None)  # the server ends the stream once it has answered everything
                self.refusals.extend(refusal for answer in answers for refusal in answer.receipt.refusals)
        requests.put(None)  # lets the thread behind a cut stream go

    def deliver(self):
        """Sessions until everything is acknowledged; only what may get better by itself is tried again."""
        again = (grpc.StatusCode.UNAVAILABLE, grpc.StatusCode.CANCELLED, grpc.StatusCode.RESOURCE_EXHAUSTED)
        wait_s = 0.1
        while self.waiting:
            try:
                self.session()
            except (grpc.RpcError, StopIteration) as error:
                final = isinstance(error, grpc.RpcError) and error.code() not in again
                check(not final and wait_s < PATIENCE_S, f"the server does not take this: {error}")
                time.sleep(wait_s)
                wait_s *= 2


def readings(registry, pb, unit):
    units = registry.ListUnits(pb.ListUnitsRequest(), timeout=PATIENCE_S).units
    return next((summary.readings for summary in units if summary.unit == unit and summary.described), 0)


def follow(pb, channel, cursor=None):
    """The feed's messages up to the first heartbeat, by kind, and the cursor to come back with."""
    following = pb.FeedServiceStub(channel).FollowCases(pb.FollowCasesRequest(cursor=cursor), timeout=PATIENCE_S)
    kinds = []
    for message in following:
        kinds.append(message.WhichOneof("item"))
        item = getattr(message, kinds[-1])
        if kinds[-1] != "snapshot_start" and item.HasField("cursor"):
            cursor = item.cursor
        if kinds[-1] == "heartbeat":
            return kinds, cursor
    check(False, f"the feed ended by itself after {kinds}")


def main():
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--address", required=True, help="host:port")
    options.add_argument("--unit", required=True)
    options.add_argument("--gateway", default="foreign-gateway")
    options.add_argument("--proto", type=Path, default=Path(__file__).resolve().parents[2] / "proto")
    args = options.parse_args()
    pb = contract(args.proto)
    with grpc.insecure_channel(args.address) as channel:
        grpc.channel_ready_future(channel).result(timeout=PATIENCE_S)
        missing = {f"rimeline.v1.{name}Service" for name in ("Ingest", "Registry", "Feed")} - services(channel)
        check(not missing, f"reflection does not list {missing}")

        registry, ingest = pb.RegistryServiceStub(channel), pb.IngestServiceStub(channel)
        fitted = [pb.CHANNEL_RETURN_AIR_CONTROL, pb.CHANNEL_DISCHARGE_PRESSURE]
        unit = pb.UnitDescription(unit=args.unit, fitted=fitted, refrigerant=pb.REFRIGERANT_R452A, time_zone="UTC")
        registry.DescribeUnit(pb.DescribeUnitRequest(unit=unit), timeout=PATIENCE_S)
        before = readings(registry, pb, args.unit)

        # The readings of the last ten minutes, over a connection that is cut on the way.
        now_ms = int(time.time() * 1000)
        gateway = Gateway(pb, args.address, args.gateway, epoch=now_ms)
        start_ms = now_ms - BATCHES * ROWS * 1000
        gateway.waiting.extend(batch(pb, args.unit, n + 1, start_ms + n * ROWS * 1000) for n in range(BATCHES))
        gateway.session(cut_after=BATCHES // 3)
        check(gateway.waiting, "everything was acknowledged before the cut")
        gateway.deliver()
        check(gateway.acknowledged == BATCHES, f"{gateway.acknowledged} of {BATCHES} batches are acknowledged")
        check(not gateway.refusals, f"refused: {gateway.refusals}")

        # The same batch in a single call is a duplicate; a row of 1970 costs itself and nothing else.
        again = pb.SendReadingsRequest(hello=gateway.hello(), batch=batch(pb, args.unit, 1, start_ms))
        check(ingest.SendReadings(again, timeout=PATIENCE_S).receipt.duplicate, "a repeated batch is no duplicate")
        wrong = batch(pb, args.unit, BATCHES + 1, now_ms)
        wrong.time_delta_ms[:2] = [-now_ms, now_ms]
        request = pb.SendReadingsRequest(hello=gateway.hello(), batch=wrong)
        receipt = ingest.SendReadings(request, timeout=PATIENCE_S).receipt
        reasons = [(refusal.reason, refusal.index, refusal.count) for refusal in receipt.refusals]
        check(reasons == [(pb.REFUSAL_REASON_TIME_TOO_OLD, 0, 1)], f"a row of 1970: {receipt}")
        check(receipt.accepted_rows == ROWS - 1, f"the neighbours of a row of 1970: {receipt}")

        # Whatever was cut: the registry counts every reading once.
        expected, until = before + BATCHES * ROWS + ROWS - 1, time.monotonic() + PATIENCE_S
        while (found := readings(registry, pb, args.unit)) < expected and time.monotonic() < until:
            time.sleep(0.1)
        check(found == expected, f"{found} readings of {args.unit} are counted, where {expected} were sent")

        # The feed: the open cases and a heartbeat; and from where we were, without the open cases again.
        kinds, cursor = follow(pb, channel)
        check(kinds[0] == "snapshot_start" and "snapshot_end" in kinds, f"a feed without a snapshot: {kinds}")
        kinds, _ = follow(pb, channel, cursor)
        check("snapshot_start" not in kinds, f"a snapshot, though a cursor of a moment ago was given: {kinds}")
    print(f"gateway.py: {BATCHES + 1} batches over {gateway.sessions} connections, every reading counted once")


if __name__ == "__main__":
    main()
