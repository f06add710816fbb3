//! Webhooks over a real wire: a server of somebody else's receives them, and the library of Standard Webhooks judges them.

mod addresses;
mod deliveries;
mod encrypted;
mod receiver;
