//! Devices: tills, scales and printers with a token of their own.
