//! A physical simulator of refrigerated units with graded faults and labelled truth.
//!
//! A [`Scenario`] describes a fleet, its weather and its faults; a [`Fleet`] plays it and hands out readings in the
//! order in which they would arrive. Everything follows from the scenario and its seed.
//!
//! The equations are this crate's own and stay apart from those of whoever judges the readings: a box with air, inner
//! skin and a cargo of surface and core; a circuit whose two saturation temperatures follow the exchange at evaporator,
//! compressor and condenser; vapour pressure by a two-parameter law; frost that chokes the coil. Magnitudes are common
//! practice without a source and serve simulation only. All names of depots and units are invented.

mod build;
mod cargo_box;
mod chance;
mod circuit;
mod coil;
mod control;
mod demo;
mod design;
mod effects;
mod engine;
mod fault;
mod fleet;
mod machine;
mod physics;
mod plan;
mod report;
mod saturation;
mod scenario;
mod sensors;
mod supervise;
mod unit;
mod weather;

pub use fault::{Course, Fault, FaultKind, SERVICE_NOW, Truth};
pub use fleet::{Delivery, Fleet, UnitStream};
pub use saturation::{PressureReference, Refrigerant};
pub use scenario::{CadenceShare, Depot, HeatWave, Scenario, ScenarioError, UnitChoice};
pub use unit::{Body, CargoClass, Load, LookAlike, Service, Unit};
