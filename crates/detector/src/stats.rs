//! Small statistics that tests on a unit are built from.
//!
//! Streaming forms ([`Cusum`], [`Ewma`], [`Hampel`], [`FlatRun`], [`PullDown`]) hold a few numbers, allocate nothing
//! and serialise. The others work on a few weeks of daily values at most. A value that is not finite is no evidence:
//! streaming forms pass over it, the others answer `None`.

mod cusum;
mod ewma;
mod flat_runs;
mod hampel;
mod intervals;
mod mann_kendall;
mod pull_down;
mod robust;
mod sampled_starts;
mod theil_sen;
mod trend;

pub use cusum::{Cusum, CusumDesign, CusumPair, Side, siegmund_arl};
pub use ewma::{Ewma, EwmaChart};
pub use flat_runs::{FlatRun, FlatRunDesign, FlatSpan, flat_runs};
pub use hampel::{HAMPEL_WINDOW, Hampel, HampelDesign, Neighbourhood};
pub use intervals::{Interval, garwood, rate_exceeds, wilson};
pub use mann_kendall::{MannKendall, mann_kendall, mann_kendall_prewhitened};
pub use pull_down::{PullDown, PullDownFit};
pub use robust::{MAD_TO_SIGMA, mad_in_place, median_in_place};
pub use sampled_starts::expected_observed_starts;
pub use theil_sen::{TheilSen, theil_sen};
pub use trend::{Approach, TimeToLimit, Trend, lag1_autocorrelation, trend};
