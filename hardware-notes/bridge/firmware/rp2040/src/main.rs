//! The bridge on an RP2040 board: pins in, a serial port over USB out. `../../wiring.svg` shows the pins.
//!
//! The interrupt of the clock pin looks at the levels; the main loop does the rest, each millisecond and when the computer
//! wants something. What cannot go on begins again: a panic, or a loop that the watchdog no longer hears of, resets the
//! microcontroller.

#![no_std]
#![no_main]

use bridge_usb::{MOST, Port};
use core::cell::RefCell;
use core::convert::Infallible;
use core::panic::PanicInfo;
use cortex_m::peripheral::syst::SystClkSource;
use cortex_m::peripheral::{NVIC, SCB};
use critical_section::Mutex;
use embedded_hal::digital::{InputPin, OutputPin};
use gauge_port::{Bridge, Kind, Levels};
use rp2040_hal::Clock;
use rp2040_hal::clocks::init_clocks_and_plls;
use rp2040_hal::fugit::ExtU32;
use rp2040_hal::gpio::bank0::{Gpio2, Gpio3};
use rp2040_hal::gpio::{FunctionSioInput, Interrupt, Pin, Pins, PullUp};
use rp2040_hal::pac::{self, interrupt};
use rp2040_hal::usb::UsbBus;
use rp2040_hal::{Sio, Timer, Watchdog};
use usb_device::bus::UsbBusAllocator;

/// Read by the chip before anything else.
#[expect(unsafe_code, reason = "the section's name is the linker script's")]
#[unsafe(link_section = ".boot2")]
#[used]
static BOOT2: [u8; 256] = rp2040_boot2::BOOT_LOADER_GENERIC_03H;

/// The crystal on common boards.
const CRYSTAL_HZ: u32 = 12_000_000;

type In<I> = Pin<I, FunctionSioInput, PullUp>;

/// What the interrupt and the main loop share.
struct Shared {
    bridge: Bridge,
    clock: In<Gpio2>,
    data: In<Gpio3>,
    timer: Timer,
}

static SHARED: Mutex<RefCell<Option<Shared>>> = Mutex::new(RefCell::new(None));

/// Does something with what is shared; `None` before it is there.
fn shared<R>(action: impl FnOnce(&mut Shared) -> R) -> Option<R> {
    critical_section::with(|section| {
        let mut shared = SHARED.borrow(section).try_borrow_mut().ok()?;
        shared.as_mut().map(action)
    })
}

/// The levels at the gauge: the stage before the pins inverts them.
fn look(shared: &mut Shared) {
    let now = shared.timer.get_counter_low();
    let Ok(clock) = shared.clock.is_low();
    let Ok(data) = shared.data.is_low();
    shared.bridge.levels(now, Levels { clock, data });
}

#[interrupt]
fn IO_IRQ_BANK0() {
    shared(|shared| {
        // First cleared, then looked at: a change after that comes as an interrupt of its own.
        shared.clock.clear_interrupt(Interrupt::EdgeLow);
        shared.clock.clear_interrupt(Interrupt::EdgeHigh);
        look(shared);
    });
}

/// Wakes the main loop, and is nothing more.
#[cortex_m_rt::exception]
fn SysTick() {}

/// Wakes it too, which then does what the computer wants.
#[interrupt]
fn USBCTRL_IRQ() {
    NVIC::mask(pac::Interrupt::USBCTRL_IRQ);
}

#[rp2040_hal::entry]
fn main() -> ! {
    run();
    SCB::sys_reset()
}

/// Returns where the microcontroller is not what was expected.
fn run() -> Option<Infallible> {
    let mut board = pac::Peripherals::take()?;
    let mut core = pac::CorePeripherals::take()?;
    let mut watchdog = Watchdog::new(board.WATCHDOG);
    let clocks = init_clocks_and_plls(
        CRYSTAL_HZ,
        board.XOSC,
        board.CLOCKS,
        board.PLL_SYS,
        board.PLL_USB,
        &mut board.RESETS,
        &mut watchdog,
    )
    .ok()?;
    watchdog.start(1.secs());

    let timer = Timer::new(board.TIMER, &mut board.RESETS, &clocks);
    let sio = Sio::new(board.SIO);
    let pins = Pins::new(
        board.IO_BANK0,
        board.PADS_BANK0,
        sio.gpio_bank0,
        &mut board.RESETS,
    );
    let clock: In<Gpio2> = pins.gpio2.reconfigure();
    let data: In<Gpio3> = pins.gpio3.reconfigure();
    let mut request = pins.gpio4.into_push_pull_output();
    let mut button = pins.gpio5.into_pull_up_input();
    let mut is_word24 = pins.gpio6.into_pull_up_input();
    let mut is_word48 = pins.gpio7.into_pull_up_input();
    // The pull-ups take a moment.
    cortex_m::asm::delay(clocks.system_clock.freq().to_Hz() / 1_000);
    let Ok(word24) = is_word24.is_low();
    let Ok(word48) = is_word48.is_low();
    let kind = Kind::strapped(word24, word48);

    clock.set_interrupt_enabled(Interrupt::EdgeLow, true);
    clock.set_interrupt_enabled(Interrupt::EdgeHigh, true);
    critical_section::with(|section| {
        SHARED.borrow(section).replace(Some(Shared {
            bridge: Bridge::new(kind),
            clock,
            data,
            timer,
        }));
    });
    // The level before the first edge.
    shared(look)?;
    #[expect(unsafe_code, reason = "what the interrupt uses is in place")]
    unsafe {
        NVIC::unmask(pac::Interrupt::IO_IRQ_BANK0);
    }
    core.SYST.set_clock_source(SystClkSource::Core);
    core.SYST
        .set_reload(clocks.system_clock.freq().to_Hz() / 1_000 - 1);
    core.SYST.clear_current();
    core.SYST.enable_counter();
    core.SYST.enable_interrupt();

    let bus = UsbBusAllocator::new(UsbBus::new(
        board.USBCTRL_REGS,
        board.USBCTRL_DPRAM,
        clocks.usb_clock,
        true,
        &mut board.RESETS,
    ));
    let mut port = Port::new(&bus)?;
    loop {
        watchdog.feed();
        let host = port.poll();
        let Ok(down) = button.is_low();
        let mut packet = [0; MOST];
        let (pull, count) = shared(|shared| {
            let now = shared.timer.get_counter_low();
            shared.bridge.turn(now, host, down, &mut packet)
        })?;
        let Ok(()) = request.set_state(pull.into());
        let sent = port.send(packet.get(..count)?);
        shared(|shared| shared.bridge.sent(sent))?;
        // What comes before it sleeps wakes it too: interrupts wait meanwhile, and end the sleep.
        critical_section::with(|_| {
            #[expect(unsafe_code, reason = "its interrupt uses nothing")]
            unsafe {
                NVIC::unmask(pac::Interrupt::USBCTRL_IRQ);
            }
            cortex_m::asm::wfi();
        });
    }
}

#[panic_handler]
fn panic(_: &PanicInfo) -> ! {
    SCB::sys_reset()
}
