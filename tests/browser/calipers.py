"""Calipers on pseudo-terminals for tests in other languages.

Prints the paths of as many as its argument says; then sends what each line of standard input says:
`1 +1.63` goes to the first one, with a carriage return.
"""

import os
import pty
import sys
import tty

masters = []
for _ in range(int(sys.argv[1])):
    master, slave = pty.openpty()
    tty.setraw(slave)
    masters.append(master)
    print(os.ttyname(slave), flush=True)
for line in sys.stdin:
    number, text = line.split(maxsplit=1)
    os.write(masters[int(number) - 1], text.strip().encode() + b"\r")
