//! Means, differences and spreads of values that come in groups.

pub mod cluster_robust;
pub mod contrast;
mod cross_products;
pub mod intraclass;
pub mod meta_analysis;
pub mod model;
pub mod over_wearers;
pub mod people;
pub mod random_effects;
pub mod random_intercept;
mod reml;
pub mod sensor_means;
mod site_variances;
pub mod sites;
