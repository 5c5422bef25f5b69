//! The bridge on an STM32F411 board: pins in, a serial port over USB out. `../../wiring.svg` shows the pins.
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
use gauge_port::{Bridge, Kind, Levels};
use stm32f4xx_hal::gpio::{Edge, Input, PA1, PA2, PinState};
use stm32f4xx_hal::otg_fs::{USB, UsbBus};
use stm32f4xx_hal::pac::{self, TIM5, interrupt};
use stm32f4xx_hal::prelude::*;
use stm32f4xx_hal::rcc::Config;
use stm32f4xx_hal::timer::CounterUs;
use stm32f4xx_hal::watchdog::IndependentWatchdog;

/// The crystal on common boards.
const CRYSTAL_MHZ: u32 = 25;

/// The most that has 48 MHz for USB beside it.
const SYSTEM_MHZ: u32 = 84;

/// What the interrupt and the main loop share.
struct Shared {
    bridge: Bridge,
    clock: PA1<Input>,
    data: PA2<Input>,
    timer: CounterUs<TIM5>,
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
    let now = shared.timer.now().ticks();
    let levels = Levels {
        clock: shared.clock.is_low(),
        data: shared.data.is_low(),
    };
    shared.bridge.levels(now, levels);
}

#[interrupt]
fn EXTI1() {
    shared(|shared| {
        // First cleared, then looked at: a change after that comes as an interrupt of its own.
        shared.clock.clear_interrupt_pending_bit();
        look(shared);
    });
}

/// Wakes the main loop, and is nothing more.
#[cortex_m_rt::exception]
fn SysTick() {}

/// Wakes it too, which then does what the computer wants.
#[interrupt]
fn OTG_FS() {
    NVIC::mask(pac::Interrupt::OTG_FS);
}

#[cortex_m_rt::entry]
fn main() -> ! {
    run();
    SCB::sys_reset()
}

/// Returns where the microcontroller is not what was expected.
fn run() -> Option<Infallible> {
    let mut board = pac::Peripherals::take()?;
    let mut core = cortex_m::Peripherals::take()?;
    let mut watchdog = IndependentWatchdog::new(board.IWDG);
    watchdog.start(1.secs());
    let mut rcc = board.RCC.freeze(
        Config::hse(CRYSTAL_MHZ.MHz())
            .sysclk(SYSTEM_MHZ.MHz())
            .require_pll48clk(),
    );

    let mut timer = board.TIM5.counter_us(&mut rcc);
    timer.start(u32::MAX.micros()).ok()?;
    let mut syscfg = board.SYSCFG.constrain(&mut rcc);
    let pins = board.GPIOA.split(&mut rcc);
    let mut clock = pins.pa1.into_pull_up_input();
    let data = pins.pa2.into_pull_up_input();
    let mut request = pins.pa3.into_push_pull_output();
    let button = pins.pa4.into_pull_up_input();
    let is_word24 = pins.pa5.into_pull_up_input();
    let is_word48 = pins.pa6.into_pull_up_input();
    // The pull-ups take a moment.
    cortex_m::asm::delay(SYSTEM_MHZ * 1_000);
    let kind = Kind::strapped(is_word24.is_low(), is_word48.is_low());

    clock.make_interrupt_source(&mut syscfg);
    clock.trigger_on_edge(&mut board.EXTI, Edge::RisingFalling);
    clock.enable_interrupt(&mut board.EXTI);
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
        NVIC::unmask(pac::Interrupt::EXTI1);
    }
    core.SYST.set_clock_source(SystClkSource::Core);
    core.SYST.set_reload(SYSTEM_MHZ * 1_000 - 1);
    core.SYST.clear_current();
    core.SYST.enable_counter();
    core.SYST.enable_interrupt();

    let usb = USB::new(
        (
            board.OTG_FS_GLOBAL,
            board.OTG_FS_DEVICE,
            board.OTG_FS_PWRCLK,
        ),
        (pins.pa11, pins.pa12),
        &rcc.clocks,
    );
    let endpoints = cortex_m::singleton!(: [u32; 256] = [0; 256])?;
    let bus = UsbBus::new(usb, endpoints);
    let mut port = Port::new(&bus)?;
    loop {
        watchdog.feed();
        let host = port.poll();
        let down = button.is_low();
        let mut packet = [0; MOST];
        let (pull, count) = shared(|shared| {
            let now = shared.timer.now().ticks();
            shared.bridge.turn(now, host, down, &mut packet)
        })?;
        request.set_state(PinState::from(pull));
        let sent = port.send(packet.get(..count)?);
        shared(|shared| shared.bridge.sent(sent))?;
        // What comes before it sleeps wakes it too: interrupts wait meanwhile, and end the sleep.
        critical_section::with(|_| {
            #[expect(unsafe_code, reason = "its interrupt uses nothing")]
            unsafe {
                NVIC::unmask(pac::Interrupt::OTG_FS);
            }
            cortex_m::asm::wfi();
        });
    }
}

#[panic_handler]
fn panic(_: &PanicInfo) -> ! {
    SCB::sys_reset()
}
