"""A bench with its OPC UA server, and clients of it by asyncua, which shares no code with the server."""

import asyncio
import json
import pathlib
import socket
import subprocess
import time

import bench
from asyncua import Client, ua
from asyncua.crypto.cert_gen import setup_self_signed_certificate
from cryptography.x509.oid import ExtendedKeyUsageOID

NAMESPACE = "urn:tallyjaw:opcua:1"
PATIENCE_S = 30.0  # a limit for failing, never a pace
TYPES = pathlib.Path(__file__).resolve().parents[1] / "reference" / "opcua" / "types.json"

SECOND_STATION = """
[[station]]
name = "bench-2"
"""


def free_port():
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return one.getsockname()[1]


class Bench(bench.Bench):
    """A bench whose configuration has `[opcua]`, and its server."""

    def __init__(self, programs, host="127.0.0.1", pieces=3, repeat=False):
        self.tallyjaw, self.opcua = programs
        self.port = free_port()
        super().__init__(self.tallyjaw, [{"name": "pump", "axes": '["core_crimp_height"]', "pieces": pieces, "decision": "simple"}])
        if repeat:
            plans = self.root / "plans" / "pump.toml"
            plans.write_text(plans.read_text().replace("before_first = true, closing = true", "before_first = false, closing = false")
                             .replace("first_off", "in_process") + "repeat = true\n")
        self.config = self.root / "tallyjaw.toml"
        self.config.write_text(self.config.read_text() + f'\n[opcua]\nlisten = "{host}:{self.port}"\nhost = "127.0.0.1"\n')
        self.url = f"opc.tcp://127.0.0.1:{self.port}/"
        self.pki = self.root / "state" / "opcua"

    def __enter__(self):
        super().__enter__()
        self.feed = bench.Feed(self)
        self.feed.until("attached")
        self.serve()
        return self

    def __exit__(self, *_):
        self.server.kill()
        self.server.wait()
        super().__exit__()

    def serve(self):
        """Starts the server, and waits until clients can connect."""
        command = [self.opcua, "--config", str(self.config), "--json"]
        self.server = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
        self.ready = json.loads(self.server.stdout.readline())
        assert self.ready["kind"] == "ready" and self.ready["url"] == self.url, self.ready

    def token(self, *arguments):
        """Makes or revokes a token; returns the secret of a new one."""
        command = self.command("--json", "token", *arguments)
        done = subprocess.run(command, check=True, capture_output=True, text=True)
        return json.loads(done.stdout).get("secret") if done.stdout.strip() else None

    def readings(self, number, first=0):
        """Presses so many times, alternating, and returns the entries of the readings, by the feed."""
        entries = []
        for index in range(first, first + number):
            self.press(f"1.{57 + index % 11}\r".encode())
            entries.append(self.feed.until("reading"))
        return entries


class Told:
    """What a subscription told, in order."""

    def __init__(self):
        self.events = []
        self.values = []
        self.news = asyncio.Event()

    def event_notification(self, event):
        self.events.append(event)
        self.news.set()

    def datachange_notification(self, _node, value, data):
        # The library tells the null that an event source has at first as a value too.
        if data.monitored_item.Value.StatusCode.value != ua.StatusCodes.BadWaitingForInitialData:
            self.values.append((value, data.monitored_item.Value))
        self.news.set()

    async def until(self, holds, what):
        """Waits until `holds()`."""
        deadline = time.monotonic() + PATIENCE_S
        while not holds():
            self.news.clear()
            left = deadline - time.monotonic()
            assert left > 0, f"not told within {PATIENCE_S} s: {what}"
            try:
                await asyncio.wait_for(self.news.wait(), left)
            except asyncio.TimeoutError:
                pass


class Reader:
    """A client with the namespace that it asked for."""

    def __init__(self, client):
        self.client = client

    @classmethod
    async def of(cls, client):
        reader = cls(client)
        reader.ns = await client.get_namespace_index(NAMESPACE)
        return reader

    def node(self, path):
        return self.client.get_node(ua.NodeId(path, self.ns))

    async def value(self, path):
        return await self.node(path).read_value()

    async def watch(self, told, events_of=None, values_of=None, queue=20_000):
        """Subscribes to the events of a node, all types, or to the values of a variable."""
        wanted = ua.CreateSubscriptionParameters(RequestedPublishingInterval=20, RequestedMaxKeepAliveCount=25,
                                                 RequestedLifetimeCount=50_000, PublishingEnabled=True)
        subscription = await self.client.create_subscription(wanted, told)
        ask_for_what_is_lost(self.client, subscription)
        if events_of is not None:
            kinds = [self.node(f"Types/{name}EventType") for name in ("Reading", "Outcome", "Standing")]
            await subscription.subscribe_events(events_of, kinds, queuesize=queue, where_clause_generation=False)
        if values_of is not None:
            await subscription.subscribe_data_change(values_of, queuesize=queue, sampling_interval=0.0)
        return subscription

    async def until(self, path, holds):
        """Reads a variable again and again until its value is as wanted, for what no event tells."""
        deadline = time.monotonic() + PATIENCE_S
        while not holds(value := await self.node(path).read_data_value(raise_on_bad_status=False)):
            assert time.monotonic() < deadline, f"{path} is still {value}"
            await asyncio.sleep(0.02)
        return value


def ask_for_what_is_lost(client, subscription):
    """Asks for each message whose number was skipped, as OPC 10000-4 has a client do (Publish; from memory); asyncua does so only once after a
    break, before an answer that was on its way to the lost connection."""
    tell, one_at_a_time = subscription.publish_callback, asyncio.Lock()

    async def in_order(result):
        async with one_at_a_time:
            message = result.NotificationMessage
            last = subscription.last_sequence_number or 0
            # A sign of life has the number that the next message will have.
            for number in range(last + 1, message.SequenceNumber):
                lost = await client.uaclient.session.republish(subscription.subscription_id, number)
                await tell(ua.PublishResult(subscription.subscription_id, NotificationMessage=lost))
            if message.NotificationData and message.SequenceNumber > last:
                await tell(result)
    subscription.publish_callback = in_order
    client.uaclient.session._subscription_callbacks[subscription.subscription_id] = in_order


async def with_certificate(url, folder, policy, user=None, secret=None, name="client"):
    """A client that is not connected yet, with a certificate of its own and a token."""
    key, certificate = folder / f"{name}.pem", folder / f"{name}.der"
    client = Client(url, timeout=10)
    client.application_uri = f"urn:example:{name}"
    await setup_self_signed_certificate(key, certificate, client.application_uri, "127.0.0.1",
                                        [ExtendedKeyUsageOID.CLIENT_AUTH], {"commonName": name})
    await client.set_security(policy, str(certificate), str(key), mode=ua.MessageSecurityMode.SignAndEncrypt)
    if user:
        client.set_user(user)
        client.set_password(secret)
    return client


class Proxy:
    """A way to the server that can be cut."""

    def __init__(self, port):
        self.to = port
        self.ends = []

    async def __aenter__(self):
        self.server = await asyncio.start_server(self.connected, "127.0.0.1", 0)
        self.port = self.server.sockets[0].getsockname()[1]
        return self

    async def __aexit__(self, *_):
        self.cut()
        self.server.close()

    async def connected(self, reader, writer):
        other_reader, other_writer = await asyncio.open_connection("127.0.0.1", self.to)
        self.ends += [writer, other_writer]
        try:
            await asyncio.gather(copied(reader, other_writer), copied(other_reader, writer))
        except asyncio.CancelledError:
            pass  # the test is over

    def cut(self):
        for end in self.ends:
            end.transport.abort()
        self.ends.clear()


async def copied(reader, writer):
    try:
        while piece := await reader.read(65536):
            writer.write(piece)
            await writer.drain()
    except (ConnectionError, asyncio.IncompleteReadError):
        pass
    writer.close()
