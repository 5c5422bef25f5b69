#!/usr/bin/env python3
"""The OPC UA server against asyncua: what it shows, who may read, what it withstands, and that it changes nothing.

Run it:   tests/scripts/opcua.sh
Ends:     with 1 and the test that failed; a name as the third argument runs the tests whose name contains it.
"""

import asyncio
import json
import logging
import os
import shutil
import socket
import struct
import subprocess
import sys
import tempfile
import time
import pathlib

from asyncua import Client, ua
from asyncua.crypto.security_policies import SecurityPolicyAes128Sha256RsaOaep, SecurityPolicyAes256Sha256RsaPss, SecurityPolicyBasic256Sha256

from opcua_bench import NAMESPACE, SECOND_STATION, TYPES, Bench, Proxy, Reader, Told, with_certificate

LAST = "Bench/Stations/bench-1/LastReading"
ARMED = "Bench/Stations/bench-1/Armed"
OUTCOME = "Bench/Stations/bench-1/Outcome"
# Where the specifications' names are used: our type, and the type whose fields they are.
AFTER = [("ReadingType", "ResultMetaDataType", ["ResultId", "CreationTime", "ResultEvaluation"]),
         ("OutcomeType", "ResultMetaDataType", ["ResultId", "CreationTime", "ResultEvaluation"]),
         ("ArmedType", "ResultMetaDataType", ["JobId"]),
         ("ReadingType", "ResultValueDataType",
          ["MeasuredValue", "TargetValue", "LowLimit", "HighLimit", "EngineeringUnits", "SensorId", "ResultEvaluation"])]


async def everything(node):
    """The node and all that is below it."""
    found = [node]
    for child in await node.get_children():
        found += await everything(child)
    return found


async def browsed(programs):
    """Each object has exactly the members of its type, with their data types; nothing can be written or called."""
    with Bench(programs) as bench:
        async with Client(bench.url) as client:
            reader = await Reader.of(client)
            root = await client.nodes.objects.get_child(f"{reader.ns}:Bench")
            names = [(await node.read_browse_name()).Name for node in await root.get_children()]
            assert sorted(names) == ["Connected", "Instruments", "Journal", "Seq", "Stations"], names
            objects = 0
            for node in await everything(root):
                kind = await node.read_node_class()
                assert kind in (ua.NodeClass.Object, ua.NodeClass.Variable), (node, kind)
                if kind == ua.NodeClass.Variable:
                    await cannot_be_written(node)
                    continue
                of = client.get_node(await node.read_type_definition())
                if of.nodeid.NamespaceIndex != reader.ns:
                    continue  # a folder
                objects += 1
                wanted = {await name_and_type(member) for member in await of.get_children(refs=ua.ObjectIds.HasComponent)}
                got = {await name_and_type(member) for member in await node.get_variables()}
                assert got == wanted and got, (node, got ^ wanted)
            assert objects == 6, objects
            assert await reader.value("Bench/Connected") is True
            assert await reader.value("Bench/Journal") == bench.feed.journal
            await cannot_be_changed(client, reader)


async def name_and_type(node):
    return (await node.read_browse_name()).Name, await node.read_data_type(), await node.read_value_rank()


async def cannot_be_written(node):
    access = await node.read_attribute(ua.AttributeIds.UserAccessLevel)
    assert access.Value.Value == ua.AccessLevel.CurrentRead.mask, (node, access)
    await refused(node.write_attribute(ua.AttributeIds.Value, ua.DataValue(ua.Variant(1, ua.VariantType.Int32))))
    await refused(node.write_attribute(ua.AttributeIds.DisplayName, ua.DataValue(ua.Variant(ua.LocalizedText("x")))))


async def cannot_be_changed(client, reader):
    root = reader.node("Bench")
    await refused(root.add_variable(reader.ns, "intruder", 1))
    await refused(root.add_folder(reader.ns, "intruder"))
    await refused(root.call_method(f"{reader.ns}:arm"))
    await refused(client.delete_nodes([root]))
    assert "intruder" not in [(await node.read_browse_name()).Name for node in await root.get_children()]


async def refused(attempt):
    try:
        answer = await attempt
    except (ua.UaStatusCodeError, ua.UaError):
        return
    if isinstance(answer, tuple):  # delete_nodes: what was deleted, and the codes
        assert all(code.is_bad() for code in answer[1]), answer
        return
    raise AssertionError(f"not refused: {answer}")


async def named_after_specifications(programs):
    """The names that we take from a specification have its data types; the enumeration has its values."""
    published = {name: fields for one in json.loads(TYPES.read_text()).values() for name, fields in one["types"].items()}
    same = {"TrimmedString": "String"}  # a String without blanks at its ends
    with Bench(programs) as bench:
        async with Client(bench.url) as client:
            reader = await Reader.of(client)
            for ours, theirs, names in AFTER:
                for name in names:
                    member = reader.node(f"Types/{ours}/{name}")
                    got = (await client.get_node(await member.read_data_type()).read_browse_name()).Name
                    wanted = published[theirs][name]
                    assert got == same.get(wanted, wanted), (ours, name, got, wanted)
            strings = await reader.value("Types/ResultEvaluationEnum/EnumStrings")
            got = {text.Text: number for number, text in enumerate(strings)}
            assert got == published["ResultEvaluationEnum"], got


async def one_series(programs):
    """A series with a bad reading and a retraction: variables and events say what the feed says."""
    with Bench(programs) as bench:
        async with Client(bench.url) as client:
            reader = await Reader.of(client)
            told = Told()
            await reader.watch(told, events_of=ua.ObjectIds.Server)
            series = bench.call("arm", station="bench-1", plan="pump")["armed"]["series"]
            await reader.until(f"{ARMED}/Series", lambda it: it.Value.Value == series)
            assert await reader.value(f"{ARMED}/Terminal") == "QF-250-F"
            assert await reader.value(f"{ARMED}/Axes") == ["core_crimp_height"]
            limits = [await reader.value(f"{ARMED}/{name}") for name in ("LowLimits", "TargetValues", "HighLimits")]
            assert limits == [[1.57], [1.62], [1.67]], limits
            for frame in (b"0.00\r", b"1.62\r", b"1.70\r"):
                bench.press(frame)
                bench.feed.until("zeroed" if frame == b"0.00\r" else "reading")
            last = json.loads(bench.feed.seen[-1])
            await reader.until(f"{LAST}/Seq", lambda it: it.Value.Value == last["seq"])
            await says(reader, LAST, {
                "ResultId": f"{bench.feed.journal}/{last['seq']}", "MeasuredValue": 1.7, "TargetValue": 1.62, "LowLimit": 1.57,
                "HighLimit": 1.67, "ResultEvaluation": 2, "Verdict": "fail_high", "Standing": "counted", "Reason": None,
                "SensorId": "caliper-1", "Series": series, "Piece": 2, "Axis": "core_crimp_height", "Terminal": "QF-250-F",
                "WireArea": 2.0})
            unit = await reader.value(f"{LAST}/EngineeringUnits")
            # The characters of UNECE's code MMT as a number, as OPC 10000-8 has it (from memory; the model file of OPC 40502 has 5066068).
            assert (unit.UnitId, unit.DisplayName.Text) == (int.from_bytes(b"MMT", "big"), "mm"), unit
            bench.call("retract", station="bench-1")
            retracted = bench.feed.until("retracted")
            for frame in (b"1.63\r", b"1.64\r"):
                bench.press(frame)
                bench.feed.until("reading")
            bench.press(b"0.00\r")
            completed = bench.feed.until("completed")
            await reader.until(f"{OUTCOME}/Series", lambda it: it.Value.Value == series)
            await says(reader, OUTCOME, {"ResultEvaluation": 1, "Outcome": "accepted", "Passed": 3, "Failed": 0, "Retracted": 1,
                                         "Slots": 3, "Filled": 3, "ResultId": f"{bench.feed.journal}/{series}"})
            await says(reader, ARMED, {"Series": None, "Axes": None})
            await told.until(lambda: told.events and told.events[-1].Seq == completed["seq"], "completed")
            as_stored(told.events, [json.loads(line) for line in bench.feed.seen], bench)
            kinds = {event.Seq: event for event in told.events}
            assert kinds[retracted["seq"]].Readings == [last["seq"]], kinds[retracted["seq"]]
            assert kinds[last["seq"]].Severity > kinds[last["seq"] - 1].Severity


async def says(reader, path, wanted):
    got = {name: await reader.value(f"{path}/{name}") for name in wanted}
    assert got == wanted, {name: (got[name], wanted[name]) for name in wanted if got[name] != wanted[name]}


def as_stored(events, entries, bench):
    """Each entry from the first event on has one event, in order, with the line as stored."""
    entries = [entry for entry in entries if entry["seq"] >= events[0].Seq]
    assert [event.Seq for event in events] == [entry["seq"] for entry in entries]
    lines = {json.loads(line)["seq"]: line for line in bench.journal_lines()}
    for event, entry in zip(events, entries):
        assert event.Kind == entry["kind"] and event.Journal == bench.feed.journal, (event, entry)
        assert event.Entry.encode() == lines[event.Seq].rstrip(b"\n"), event.Entry
        kind = {"reading": "Reading", "completed": "Outcome", "retracted": "Standing", "doubted": "Standing",
                "restored": "Standing"}.get(event.Kind, "Entry")
        assert event.EventType.Identifier == f"Types/{kind}EventType", event


async def a_thousand_readings(programs):
    """A thousand readings arrive in order, as events and as values, each once."""
    with Bench(programs, pieces=50, repeat=True) as bench:
        async with Client(bench.url) as client:
            reader = await Reader.of(client)
            told = Told()
            await reader.watch(told, events_of=reader.node("Bench/Stations/bench-1"), values_of=reader.node(f"{LAST}/Seq"))
            bench.call("arm", station="bench-1", plan="pump")
            entries = await asyncio.to_thread(bench.readings, 1000)
            await told.until(lambda: told.events and told.events[-1].Seq >= entries[-1]["seq"], "the last reading")
            events = [event for event in told.events if event.Kind == "reading"]
            got = [(event.Seq, event.MeasuredValue, event.Verdict) for event in events]
            assert got == [(entry["seq"], entry["value"], entry["verdict"]) for entry in entries]
            await told.until(lambda: told.values[-1][0] == entries[-1]["seq"], "the last value")
            values = [value for value, _ in told.values if value is not None]
            assert values == [entry["seq"] for entry in entries], "a value is missing or comes twice"


async def reconnected(programs):
    """A client whose connection is cut goes on with its session and its subscription: nothing is missing, nothing is double."""
    with Bench(programs, pieces=50, repeat=True) as bench:
        async with Proxy(bench.port) as proxy:
            client = Client(f"opc.tcp://127.0.0.1:{proxy.port}/", timeout=10, auto_reconnect=True, reconnect_max_delay=0.5)
            client._stale_check_margin = 1e6  # it would give the subscription up on a busy machine
            await client.connect()
            try:
                reader = await Reader.of(client)
                told = Told()
                await reader.watch(told, events_of=reader.node("Bench/Stations/bench-1"))
                bench.call("arm", station="bench-1", plan="pump")
                entries = []
                for _ in range(5):
                    entries += await asyncio.to_thread(bench.readings, 20)
                    proxy.cut()
                    entries += await asyncio.to_thread(bench.readings, 20)
                    await told.until(lambda: told.events and told.events[-1].Seq >= entries[-1]["seq"], f"entry {entries[-1]['seq']}")
                got = [event.Seq for event in told.events if event.Kind == "reading"]
                wanted = [entry["seq"] for entry in entries]
                assert got == wanted, f"missing {set(wanted) - set(got)}, {len(got)} for {len(wanted)}"
            finally:
                await client.disconnect()


async def daemon_killed(programs):
    """While there is no daemon the values are old ones and say so; behind it no entry is missing."""
    with Bench(programs, pieces=50, repeat=True) as bench:
        async with Client(bench.url) as client:
            reader = await Reader.of(client)
            told = Told()
            await reader.watch(told, events_of=ua.ObjectIds.Server, values_of=reader.node(f"{LAST}/Seq"))
            bench.call("arm", station="bench-1", plan="pump")
            for _ in range(3):
                before = bench.readings(5)
                await told.until(lambda: told.events[-1].Seq >= before[-1]["seq"] if told.events else False, "a reading")
                bench.kill()
                await reader.until("Bench/Connected", lambda it: it.Value.Value is False)
                old = await reader.node(f"{LAST}/Seq").read_data_value(raise_on_bad_status=False)
                assert old.Value.Value == before[-1]["seq"], old
                assert old.StatusCode.value == ua.StatusCodes.UncertainNoCommunicationLastUsableValue, old
                level = await client.get_node(ua.ObjectIds.Server_ServiceLevel).read_value()
                assert level < 200, level
                bench.start()
                bench.feed.connect(bench)
                bench.feed.until("attached")
                bench.readings(20)  # the server connects in the midst of them or behind them, and has to follow in their order
                await reader.until("Bench/Connected", lambda it: it.Value.Value is True)
                await reader.until(f"{LAST}/Seq", lambda it: it.StatusCode.is_good())
            after = bench.readings(1)[0]
            await told.until(lambda: told.events[-1].Seq >= after["seq"], "the last reading")
            as_stored(told.events, [json.loads(line) for line in bench.feed.seen], bench)
            values = [value for value, _ in told.values if value is not None]
            assert values == sorted(values) and values[-1] == after["seq"], values


async def server_late(programs):
    """A server that was away while the daemon measured takes up the present state; its last reading is the daemon's."""
    with Bench(programs, pieces=50, repeat=True) as bench:
        bench.call("arm", station="bench-1", plan="pump")
        bench.server.terminate()
        assert bench.server.wait(30) == 0
        last = bench.readings(7)[-1]
        bench.serve()
        async with Client(bench.url) as client:
            reader = await Reader.of(client)
            await reader.until(f"{LAST}/Seq", lambda it: it.Value and it.Value.Value == last["seq"])
            await says(reader, LAST, {"MeasuredValue": last["value"], "Verdict": last["verdict"], "LowLimit": None})
            limits = [await reader.value(f"{ARMED}/{name}") for name in ("LowLimits", "TargetValues", "HighLimits")]
            assert limits == [[1.57], [1.62], [1.67]], limits
            first = bench.readings(1, 7)[0]
            await reader.until(f"{LAST}/LowLimit", lambda it: it.Value.Value == 1.57)
            assert await reader.value(f"{LAST}/Seq") == first["seq"]


async def only_trusted_clients(programs):
    """Beyond the loopback interface: encrypted, with a certificate that a person has moved, and with a token."""
    policies = (SecurityPolicyBasic256Sha256, SecurityPolicyAes128Sha256RsaOaep, SecurityPolicyAes256Sha256RsaPss)
    with Bench(programs, host="0.0.0.0") as bench, tempfile.TemporaryDirectory() as folder:
        folder = pathlib.Path(folder)
        secret = bench.token("add", "plant")
        endpoints = await Client(bench.url).connect_and_get_server_endpoints()
        modes = {endpoint.SecurityMode for endpoint in endpoints}
        assert modes == {ua.MessageSecurityMode.SignAndEncrypt} and len(endpoints) == 3, endpoints
        kinds = {token.TokenType for endpoint in endpoints for token in endpoint.UserIdentityTokens}
        assert kinds == {ua.UserTokenType.UserName}, kinds
        await fails(Client(bench.url), "without encryption")
        await fails(await with_certificate(bench.url, folder, policies[0], "plant", secret), "with an unknown certificate")
        shown = list((bench.pki / "rejected").iterdir())
        assert len(shown) == 1, shown
        shutil.move(shown[0], bench.pki / "trusted" / shown[0].name)
        for policy in policies:
            async with await with_certificate(bench.url, folder, policy, "plant", secret) as client:
                assert await (await Reader.of(client)).value("Bench/Connected") is True
        await fails(await with_certificate(bench.url, folder, policies[0]), "without a token")
        await fails(await with_certificate(bench.url, folder, policies[0], "plant", secret[:-1] + "x"), "with a wrong secret")
        await fails(await with_certificate(bench.url, folder, policies[0], "other", secret), "with another name")
        key = (bench.pki / "private" / "private.pem").stat()
        assert (bench.pki.stat().st_mode | (bench.pki / "private").stat().st_mode) & 0o077 == 0, oct(key.st_mode)


async def fails(client, how):
    try:
        await client.connect()
    except (ua.UaError, ConnectionError, asyncio.TimeoutError):
        return
    await client.disconnect()
    raise AssertionError(f"a client connected {how}")


async def revoked(programs):
    """A token that is revoked ends the sessions that came with it; other tokens are good for a new login."""
    with Bench(programs, host="0.0.0.0") as bench, tempfile.TemporaryDirectory() as folder:
        folder = pathlib.Path(folder)
        secrets = {name: bench.token("add", name) for name in ("plant", "office")}
        for name in secrets:
            await fails(await with_certificate(bench.url, folder, SecurityPolicyBasic256Sha256, name, secrets[name], name), "unknown")
        for shown in (bench.pki / "rejected").iterdir():
            shutil.move(shown, bench.pki / "trusted" / shown.name)

        async def client_of(name):
            client = await with_certificate(bench.url, folder, SecurityPolicyBasic256Sha256, name, secrets[name], name)
            await client.connect()
            return client
        plant = await client_of("plant")
        lost = asyncio.Event()

        async def gone(_):
            lost.set()
        plant.connection_lost_callback = gone
        bench.token("revoke", "plant")
        await asyncio.wait_for(lost.wait(), 30)
        await fails(await with_certificate(bench.url, folder, SecurityPolicyBasic256Sha256, "plant", secrets["plant"], "plant"), "revoked")
        office = await client_of("office")
        reader = await Reader.of(office)
        await reader.until("Bench/Connected", lambda it: it.Value.Value is True)
        await office.disconnect()


async def hostile(programs):
    """Garbage, half messages, silence, floods and too many sessions: honest clients and the bench go on."""
    with Bench(programs, pieces=50, repeat=True) as bench:
        bench.call("arm", station="bench-1", plan="pump")
        hello = b"HELF" + struct.pack("<IIIIII", 32 + len(bench.url), 0, 65535, 65535, 0, 0) + struct.pack("<I", len(bench.url)) + bench.url.encode()
        sent = [b"\x00" * 100, os.urandom(4096), b"GET / HTTP/1.1\r\n\r\n", b"HELF\xff\xff\xff\xff" + b"x" * 65536,
                hello[:10], hello + b"OPNF\xff\xff\xff\x7f", hello + b"MSGF" + struct.pack("<I", 24) + os.urandom(16),
                hello + b"MSGC" + struct.pack("<I", 65535) + os.urandom(65527), b"HELF" + struct.pack("<I", 0)]
        open_ends = []
        for piece in sent * 20:
            end = socket.create_connection(("127.0.0.1", bench.port))
            open_ends.append(end)
            try:
                end.sendall(piece)
            except OSError:
                pass  # it was thrown out already
        open_ends += [socket.create_connection(("127.0.0.1", bench.port)) for _ in range(300)]
        entries = bench.readings(20)
        async with Client(bench.url, timeout=30) as client:
            reader = await Reader.of(client)
            await reader.until(f"{LAST}/Seq", lambda it: it.Value.Value == entries[-1]["seq"])
        for end in open_ends:
            end.close()
        greedy = []
        try:
            while len(greedy) < 200:
                client = Client(bench.url, timeout=30)
                await client.connect()
                greedy.append(client)
        except ua.UaError:
            pass  # no more sessions
        assert 10 <= len(greedy) < 200, len(greedy)
        entries = bench.readings(5)
        reader = await Reader.of(greedy[0])
        await reader.until(f"{LAST}/Seq", lambda it: it.Value.Value == entries[-1]["seq"])
        for client in greedy:
            await client.disconnect()
        async with Client(bench.url, timeout=30) as client:
            assert await (await Reader.of(client)).value("Bench/Connected") is True
        assert bench.server.poll() is None and bench.daemon.poll() is None


async def rejected_certificates_are_bounded(programs):
    """Whoever shows one certificate after another does not fill the disk."""
    with Bench(programs) as bench:
        rejected = bench.pki / "rejected"
        for number in range(300):
            (rejected / f"made up {number}.der").write_bytes(b"x" * 1000)
        deadline = asyncio.get_running_loop().time() + 30
        while len(list(rejected.iterdir())) > 100:
            assert asyncio.get_running_loop().time() < deadline, "they stay"
            await asyncio.sleep(0.1)


async def stations_come_and_go(programs):
    """A reload adds and removes a station; its nodes come and go while clients are connected."""
    with Bench(programs) as bench:
        async with Client(bench.url) as client:
            reader = await Reader.of(client)
            before = bench.config.read_text()
            bench.config.write_text(before + SECOND_STATION)
            bench.call("reload")
            await reader.until("Bench/Stations/bench-2/PromptKind", lambda it: it.Value and it.Value.Value == "arm")
            bench.config.write_text(before)
            bench.call("reload")
            await reader.until("Bench/Stations/bench-2/PromptKind", lambda it: it.StatusCode.value == ua.StatusCodes.BadNodeIdUnknown)
            names = [(await node.read_browse_name()).Name for node in await reader.node("Bench/Stations").get_children()]
            assert names == ["bench-1"], names
            assert (await client.get_namespace_array())[reader.ns] == NAMESPACE


async def wrong_use(programs):
    """Wrong arguments and settings end with what was got, and a remedy."""
    with Bench(programs) as bench:
        taken = run(bench, str(bench.config))
        assert taken.returncode == 4 and "cannot listen on 127.0.0.1" in taken.stderr and "help: stop the program" in taken.stderr, taken
        without = bench.root / "without.toml"
        without.write_text(bench.config.read_text().split("[opcua]")[0])
        none = run(bench, str(without))
        assert none.returncode == 2 and "has no [opcua]" in none.stderr and "help: write that line" in none.stderr, none
        wrong = bench.root / "wrong.toml"
        wrong.write_text(bench.config.read_text().replace('host = "127.0.0.1"', 'host = "opc.tcp://x:1/"'))
        faulty = run(bench, str(wrong))
        assert faulty.returncode == 2 and "without scheme and port" in faulty.stderr, faulty
        helped = subprocess.run([bench.opcua, "--help"], capture_output=True, text=True)
        assert helped.returncode == 0 and "Examples:" in helped.stdout, helped
        bench.server.terminate()
        assert bench.server.wait(30) == 0


async def delay(programs):
    """From the press to the line on the feed, and to the event: a measurement, run by its name alone."""
    with Bench(programs, pieces=50, repeat=True) as bench:
        async with Client(bench.url) as client:
            reader, told = await Reader.of(client), Told()
            await reader.watch(told, events_of=reader.node("Bench/Stations/bench-1"))
            bench.call("arm", station="bench-1", plan="pump")
            on_feed, as_event = [], []
            for index in range(500):
                pressed = time.monotonic()
                line = asyncio.create_task(asyncio.to_thread(one_reading, bench, index))
                before = len(told.events)
                await told.until(lambda: any(event.Kind == "reading" for event in told.events[before:]), "a reading")
                as_event.append(time.monotonic() - pressed)
                on_feed.append(await line - pressed)
            for name, times in (("feed", sorted(on_feed)), ("event", sorted(as_event))):
                print(f"{name}: p50 {times[249] * 1000:.1f} ms, p99 {times[494] * 1000:.1f} ms")
            for process in (bench.daemon, bench.server):
                print(used(process.pid))


def used(pid):
    """Processor time and resident memory of a process."""
    words = pathlib.Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    seconds = (int(words[11]) + int(words[12])) / os.sysconf("SC_CLK_TCK")
    name = pathlib.Path(f"/proc/{pid}/comm").read_text().strip()
    return f"{name}: {seconds:.2f} s of processor time, {int(words[21]) * os.sysconf('SC_PAGE_SIZE') / 1e6:.1f} MB"


def one_reading(bench, index):
    bench.readings(1, index)
    return time.monotonic()


def run(bench, config):
    return subprocess.run([bench.opcua, "--config", config], capture_output=True, text=True, timeout=30)


TESTS = [browsed, named_after_specifications, one_series, a_thousand_readings, reconnected, daemon_killed, server_late, only_trusted_clients,
         revoked, hostile, rejected_certificates_are_bounded, stations_come_and_go, wrong_use]


def main():
    programs, wanted = sys.argv[1:3], sys.argv[3:]
    logging.basicConfig()
    logging.getLogger("asyncua").setLevel(os.environ.get("OPC_LOG","CRITICAL"))
    for test in [delay] if wanted == ["delay"] else TESTS:
        if any(word in test.__name__ for word in wanted or [""]):
            asyncio.run(asyncio.wait_for(test(programs), 300))
            print(f"opcua: {test.__name__}: {test.__doc__}", flush=True)


if __name__ == "__main__":
    main()
