//! Functions of ours in SQL, found by name only.
//!
<<<<<<< HEAD
//! [`statistics::ALL`], [`survival::ALL`], [`accuracy::ALL`], [`site_differences::ALL`] and [`conclusions::ALL`] list the aggregates with what they
//! take and give; [`scalars`] holds functions of single rows, [`product`] a running product, [`artefacts`] the detector of night artefacts.
=======
//! [`statistics::ALL`], [`survival::ALL`], [`accuracy::ALL`], [`site_differences::ALL`] and [`prediction::ALL`] list the aggregates
//! with what they take and give; [`scalars`] holds functions of single rows, [`product`] a running product, [`artefacts`] the detector of night artefacts.
>>>>>>> ea2fcf4 (Each person at each site beside all people: how much people differ, estimates drawn towards the mean, a new person; intervals at their level by hand)

pub mod accuracy;
pub mod artefacts;
mod collect;
<<<<<<< HEAD
pub mod conclusions;
=======
pub mod prediction;
>>>>>>> ea2fcf4 (Each person at each site beside all people: how much people differ, estimates drawn towards the mean, a new person; intervals at their level by hand)
pub mod product;
pub mod scalars;
pub mod site_differences;
pub mod statistics;
pub mod survival;

pub(crate) use register::register;

mod register;
