//! Tells the linker where memory is: `memory.x` beside this file.

fn main() {
    println!("cargo::rerun-if-changed=memory.x");
    println!("cargo::rustc-link-search={}", env!("CARGO_MANIFEST_DIR"));
    println!("cargo::rustc-link-arg-bins=-Tlink.x");
}
