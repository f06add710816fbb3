//! Tubtrail over HTTP: routes, problems, the door, and the API's description. The rules live in the operations.

pub mod api;
pub mod body;
pub mod cli;
pub mod config;
pub mod demo;
pub mod door;
mod exports;
pub mod followers;
mod hex;
pub mod house;
pub mod jobs;
mod labels;
pub mod pages;
mod papers;
mod printing;
pub mod problem;
mod reports;
pub mod routed;
pub mod routes;
pub mod seats;
pub mod serve;
mod shape;
pub mod telemetry;
mod trust;
mod webhooks;
