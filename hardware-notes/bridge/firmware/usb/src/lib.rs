//! The bridge's serial port over USB, for any microcontroller that `usb-device` knows.
//!
//! It holds at most one packet: what waits longer waits with the bridge, which drops it when the port is closed.

#![no_std]

use gauge_port::Host;
use usb_device::bus::{UsbBus, UsbBusAllocator};
use usb_device::device::{
    StringDescriptors, UsbDevice, UsbDeviceBuilder, UsbDeviceState, UsbVidPid,
};
use usbd_serial::{CdcAcmClass, USB_CLASS_CDC};

/// The number by which the computer knows the port, given at build by `BRIDGE_SERIAL`: two bridges at one computer need
/// two numbers.
const SERIAL_NUMBER: &str = match option_env!("BRIDGE_SERIAL") {
    Some(number) => number,
    None => "0001",
};

/// A number for tests at one's own bench, by pid.codes: who gives bridges away needs one of their own.
const IDENTITY: UsbVidPid = UsbVidPid(0x1209, 0x0001);

/// Bytes in a packet of full-speed USB.
const PACKET: u16 = 64;

/// The most that is sent at once. A packet that is full would need an empty one behind it.
pub const MOST: usize = 63;

/// The port.
#[expect(missing_debug_implementations, reason = "neither part of it has one")]
pub struct Port<'bus, B: UsbBus> {
    device: UsbDevice<'bus, B>,
    class: CdcAcmClass<'bus, B>,
}

impl<'bus, B: UsbBus> Port<'bus, B> {
    /// The port on this bus; `None` where its names find no room.
    pub fn new(bus: &'bus UsbBusAllocator<B>) -> Option<Self> {
        let class = CdcAcmClass::new(bus, PACKET);
        let names = StringDescriptors::default()
            .manufacturer("tallyjaw")
            .product("gauge port bridge")
            .serial_number(SERIAL_NUMBER);
        let device = UsbDeviceBuilder::new(bus, IDENTITY)
            .device_class(USB_CLASS_CDC)
            .max_packet_size_0(64)
            .ok()?
            .strings(&[names])
            .ok()?
            .build();
        Some(Self { device, class })
    }

    /// Does what the computer wants: call it each millisecond at least.
    pub fn poll(&mut self) -> Host {
        let mut sent = false;
        if self.device.poll(&mut [&mut self.class]) {
            let mut packet = [0; 64];
            while self
                .class
                .read_packet(&mut packet)
                .is_ok_and(|count| count > 0)
            {
                sent = true;
            }
        }
        let open = self.device.state() == UsbDeviceState::Configured && self.class.dtr();
        Host { open, sent }
    }

    /// Sends bytes, at most [`MOST`]; the answer is how many were taken, all of them or none.
    pub fn send(&mut self, bytes: &[u8]) -> usize {
        let bytes = bytes.get(..MOST).unwrap_or(bytes);
        if bytes.is_empty() {
            return 0;
        }
        self.class.write_packet(bytes).unwrap_or(0)
    }
}
