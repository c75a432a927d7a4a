use rimeline_channels::{Channel, UnixMs};

/// One channel's numbers over time.
#[derive(Clone, Debug, PartialEq)]
pub struct Series {
    /// Which channel.
    pub channel: Channel,
    /// When, in Unix milliseconds, rising.
    pub times: Vec<UnixMs>,
    /// Per time, the quantity in the channel's unit of measure.
    pub values: Vec<f64>,
}

impl Series {
    /// At most `max_points` points that look the same: of each of `max_points / 2` equal spans of time the lowest and
    /// the highest, so that no peak is lost. 0 or no more points than that: everything. 1: the highest alone.
    #[must_use]
    pub fn downsample(&self, max_points: usize) -> Self {
        let [first, .., last] = self.times.as_slice() else {
            return self.clone();
        };
        if max_points == 0 || self.times.len() <= max_points {
            return self.clone();
        }
        let bins = (max_points / 2).max(1) as i128;
        let width = i128::from(*last) - i128::from(*first) + 1;
        let bin_of = |time: UnixMs| (i128::from(time) - i128::from(*first)) * bins / width;
        let mut kept = Self { channel: self.channel, times: Vec::new(), values: Vec::new() };
        let mut start = 0;
        while start < self.times.len() {
            let bin = bin_of(self.times[start]);
            let length = self.times[start..].partition_point(|time| bin_of(*time) == bin);
            let points = start..start + length;
            let by_value = |a: &usize, b: &usize| self.values[*a].total_cmp(&self.values[*b]);
            let lowest = points.clone().min_by(by_value);
            let highest = points.max_by(by_value);
            if let (Some(lowest), Some(highest)) = (lowest, highest) {
                kept.push_extremes(self, lowest, highest, max_points);
            }
            start += length;
        }
        kept
    }

    fn push_extremes(&mut self, all: &Self, lowest: usize, highest: usize, max_points: usize) {
        let mut chosen = [lowest.min(highest), lowest.max(highest)].to_vec();
        if max_points == 1 {
            chosen = vec![highest];
        }
        chosen.dedup();
        for point in chosen {
            self.times.push(all.times[point]);
            self.values.push(all.values[point]);
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn series(values: &[f64]) -> Series {
        let times = (0..values.len()).map(|i| i as i64 * 60_000).collect();
        Series { channel: Channel::Coil, times, values: values.to_vec() }
    }

    #[test]
    fn a_single_peak_and_a_single_dip_in_a_long_calm_both_survive() {
        let mut values = vec![5.0; 10_000];
        values[4_321] = 90.0;
        values[7_777] = -40.0;
        let few = series(&values).downsample(100);
        assert!(few.times.len() <= 100);
        let at = |value: f64| few.times[few.values.iter().position(|v| *v == value).unwrap()];
        assert_eq!(at(90.0), 4_321 * 60_000);
        assert_eq!(at(-40.0), 7_777 * 60_000);
        assert!(few.times.is_sorted_by(|a, b| a < b));
    }

    #[test]
    fn every_bin_keeps_its_lowest_and_highest_and_the_limit_holds_for_every_size() {
        let values: Vec<f64> = (0..997).map(|i| f64::from(i * 7919 % 1009)).collect();
        let all = series(&values);
        for max_points in 1..=1_000 {
            let few = all.downsample(max_points);
            assert!(few.times.len() <= max_points, "{max_points}: {}", few.times.len());
            let highest = values.iter().copied().fold(f64::MIN, f64::max);
            assert!(few.values.contains(&highest), "{max_points}");
        }
        assert_eq!(all.downsample(0), all);
        assert_eq!(all.downsample(997), all);
    }

    #[test]
    fn empty_and_extreme_series_are_no_trouble() {
        assert_eq!(series(&[]).downsample(3), series(&[]));
        let wide = Series {
            channel: Channel::Coil,
            times: vec![i64::MIN, 0, 1, i64::MAX],
            values: vec![1.0, 2.0, 3.0, 4.0],
        };
        assert!(wide.downsample(2).times.len() <= 2);
    }
}
