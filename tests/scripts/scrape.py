"""The page's metrics, read by the official parsers of OpenMetrics and of the older text format.

    tests/scripts/scrape.sh [TALLYJAW]      # in ./check --all
"""

import http.client
import sys
import time

from prometheus_client.openmetrics.parser import text_string_to_metric_families
from prometheus_client.parser import text_string_to_metric_families as plain_families

import bench

PLANS = [dict(name="pump-own", axes='["core_crimp_height"]', pieces=5, decision="simple")]

# What the five presses below come to.
WANT = {
    ("tallyjaw_readings_total", "bench-1", "not_counted"): 1,
    ("tallyjaw_readings_total", "bench-1", "pass"): 1,
    ("tallyjaw_readings_total", "bench-1", "fail_high"): 1,
    ("tallyjaw_readings_total", "bench-1", "fail_low"): 0,
    ("tallyjaw_zeros_total", "bench-1", "ok"): 1,
    ("tallyjaw_unread_bytes_total", "caliper-1"): 7,
    ("tallyjaw_instrument_up", "bench-1", "caliper-1"): 1,
    ("tallyjaw_journal_failed",): 0,
}


OPEN, PLAIN = "application/openmetrics-text; version=1.0.0", "text/plain; version=0.0.4"


def scrape(address, accept=OPEN, read=text_string_to_metric_families):
    connection = http.client.HTTPConnection(address, timeout=bench.PATIENCE_S)
    connection.request("GET", "/metrics", headers={"Accept": accept})
    answer = connection.getresponse()
    kind = answer.getheader("content-type")
    assert answer.status == 200 and kind.startswith(accept), (answer.status, kind)
    return list(read(answer.read().decode()))


def samples(families):
    return {(one.name, *one.labels.values()): one.value for family in families for one in family.samples}


def main(binary):
    shop = bench.Bench(binary, PLANS)
    config = shop.root / "tallyjaw.toml"
    config.write_text('[page]\nlisten = "127.0.0.1:0"\n' + config.read_text())
    with shop:
        feed = bench.Feed(shop)
        feed.until("attached")
        shop.call("arm", station="bench-1", plan="pump-own")
        for frame, kind in [
            (b"+1.62\r", "reading"), (b"+0.00\r", "zeroed"), (b"+1.63\r", "reading"), (b"+1.75\r", "reading"), (b"nought\r", "unread"),
        ]:
            shop.press(frame)
            feed.until(kind)
        address = shop.call("status")["page"]
        # Counted by a reader of the journal with a place of its own, so soon but not at once.
        deadline = time.monotonic() + bench.PATIENCE_S
        while True:
            families = scrape(address)
            got = samples(families)
            if all(got.get(name) == value for name, value in WANT.items()):
                break
            wrong = {name: got.get(name) for name, value in WANT.items() if got.get(name) != value}
            assert time.monotonic() < deadline, f"want {WANT}, got {wrong}"
        plain = samples(scrape(address, PLAIN, plain_families))
        assert all(plain.get(name) == value for name, value in WANT.items()), plain
        assert plain.keys() == got.keys(), plain.keys() ^ got.keys()
    kinds = {family.name: family.type for family in families}
    assert kinds["tallyjaw_journal_sync_seconds"] == "histogram" and kinds["tallyjaw_build"] == "info", kinds
    assert got["tallyjaw_journal_sync_seconds_bucket", "+Inf"] == got["tallyjaw_journal_sync_seconds_count",] > 0
    assert got["tallyjaw_journal_sync_seconds_sum",] > 0
    print(f"{len(families)} families, {len(got)} samples, as expected")


if __name__ == "__main__":
    main(sys.argv[1])
