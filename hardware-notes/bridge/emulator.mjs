// The firmware on an emulated RP2040 with a simulated gauge: runs a scenario, one step a line of standard input, and
// writes the output of the board's USB serial port to standard output.
//
//     node emulator.mjs bridge-rp2040.uf2 <scenario >bytes
//
// The scenario, its times in microseconds of the emulated board:
//
//     strap PIN           the pin is wired to ground from the beginning
//     wait TIME           nothing changes
//     bits LOW HIGH 0101… bits in the order sent: clock is low for LOW and high for HIGH, data changes while it is high;
//                         `~` among them is a glitch: clock is low for 8
//     pulse TIME          clock is low for this long
//     button 0|1          the button is let go, or pressed
//     port 0|1            no program has the port open, or one has
//     type TEXT           the computer sends this
//     request 0|1         the bridge must pull the request line, or not: anything else ends it with status 1
//     hang                the program stands still from here on: the watchdog must reset the board, and ends the scenario
//
// The levels at the pins are those behind the inverting stage of wiring.svg.
import { readFileSync, writeSync } from 'node:fs';
import { Simulator, USBCDC, GPIOPinState, ConsoleLogger, LogLevel } from 'rp2040js';

const CLOCK = 2, DATA = 3, REQUEST = 4, BUTTON = 5, STRAPS = [6, 7];
const [image] = process.argv.slice(2);
const steps = readFileSync(0, 'utf8').split('\n').filter(Boolean).map((line) => line.split(' '));

const simulator = new Simulator();
const { rp2040: board, clock: time } = simulator;
board.logger = new ConsoleLogger(LogLevel.Error);

// The file that goes onto the board, as its ROM would put it into flash memory.
const file = readFileSync(image);
for (let at = 0; at < file.length; at += 512) {
    const address = file.readUInt32LE(at + 12), size = file.readUInt32LE(at + 16);
    board.flash.set(file.subarray(at + 32, at + 32 + size), address - 0x10000000);
}
// The ROM's last act: the first 256 bytes are copied to the end of memory and run there.
const FIRST = 0x20041f00;
board.sram.set(board.flash.subarray(0, 256), FIRST - 0x20000000);

board.core.SP = FIRST;
board.core.LR = 0;
board.core.PC = FIRST;

function fail(what) {
    console.error(`emulator: after ${Math.round(time.micros)} us: ${what}`);
    process.exit(1);
}
// A bridge that begins again loses what it had heard.
let hung = false;
board.peripherals[0x40058].onWatchdogTrigger = () => (hung ? process.exit(0) : fail('the watchdog reset the board'));

// The computer's side of USB. Two things the emulator's own does not do as a computer does: it addresses the port's lines to
// the device and not to its interface, and answers every read at once with nothing.
const usb = new USBCDC(board.usbCtrl);
usb.cdcSetControlLineState = (lines = 1) => {
    board.usbCtrl.sendSetupPacket(Uint8Array.of(0x21, 0x22, lines, 0, 0, 0, 0, 0));
    usb.initialized = true;
};
const typed = [];
const reads = {}; // by endpoint, the bytes for which it waits
function deliver() {
    const size = reads[usb.outEndpoint];
    if (size && typed.length) {
        delete reads[usb.outEndpoint];
        board.usbCtrl.endpointReadDone(usb.outEndpoint, Uint8Array.from(typed.splice(0, size)));
    }
}
board.usbCtrl.onEndpointRead = (endpoint, size) => {
    reads[endpoint] = size;
    deliver();
};
usb.onSerialData = (packet) => writeSync(1, packet);

const pin = (number, high) => board.gpio[number].setInputValue(high);
const wires = (clock, data) => { pin(DATA, !data); pin(CLOCK, !clock); };
for (const open of [BUTTON, ...STRAPS]) pin(open, true);
for (const [word, strap] of steps) if (word === 'strap') pin(Number(strap), false);
wires(true, true);

/** Carries the scenario out; yields microseconds to wait. */
function* play() {
    yield 1; // The program begins.
    while (!usb.initialized) yield 1_000;
    yield 5_000;
    for (const [word, ...values] of steps) {
        const [first, second] = values.map(Number);
        if (word === 'wait') {
            yield first;
        } else if (word === 'pulse') {
            wires(false, true);
            yield first;
            wires(true, true);
        } else if (word === 'bits') {
            for (const bit of values[2]) {
                if (bit === '~') {
                    wires(false, true);
                    yield 8;
                    wires(true, true);
                    yield 40;
                    continue;
                }
                wires(true, bit === '1');
                yield second / 2;
                wires(false, bit === '1');
                yield first;
                wires(true, bit === '1');
                yield second / 2;
            }
        } else if (word === 'button') {
            pin(BUTTON, first === 0);
        } else if (word === 'port') {
            usb.cdcSetControlLineState(first);
            yield 5_000;
        } else if (word === 'type') {
            typed.push(...Buffer.from(values.join(' ')));
            deliver();
            yield 5_000;
        } else if (word === 'request') {
            const pulled = board.gpio[REQUEST].value === GPIOPinState.High;
            if (pulled !== (first === 1)) fail(`request is ${pulled ? '' : 'not '}pulled, want ${first}`);
        } else if (word === 'hang') {
            hung = true;
            yield 1_500_000;
            fail('the board hangs and is not reset');
        } else if (word !== 'strap') {
            fail(`unknown step "${word}"`);
        }
    }
    yield 50_000;
}

const play_on = play();
let done = false;
const alarm = time.createAlarm(() => {
    const { value, done: ended } = play_on.next();
    done = ended;
    if (!ended) alarm.schedule(value * 1_000);
});
alarm.schedule(0);
const NANOS = 8; // of a cycle at 125 MHz
while (!done) {
    // What is pending ends a sleep, also if it came before the sleep or is the tick: the emulator's own does not see these.
    const { core } = board;
    if (core.pendingSystick || core.pendingInterrupts & core.enabledInterrupts) core.waiting = false;
    if (core.waiting || hung) time.tick(time.nanosToNextAlarm);
    else time.tick(core.executeInstruction() * NANOS);
    if (time.micros > 1_000_000 && !usb.initialized) fail('the computer does not know the USB device');
}
