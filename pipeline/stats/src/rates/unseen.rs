//! Trouble that some sensors have and that none of those worn has shown.

/// The share of sensors that may carry a trouble though none of `sensors` worn did, with 95 % confidence (0 to 1; 1 where none
/// was worn): 1 - 0.05^(1/n). With a larger share, n sensors without it would come up in fewer than one of twenty studies.
///
/// About 3 / n from thirty on, the rule of three: Hanley and Lippman-Hand 1983 JAMA 249:1743. It is the exact one-sided bound of Clopper and
/// Pearson 1934 Biometrika 26:404 with none of n. Both from memory. Checked by `tests/unseen.rs`.
#[must_use]
pub fn share_unseen(sensors: usize) -> f64 {
    if sensors == 0 {
        return 1.0;
    }
    1.0 - 0.05_f64.powf(1.0 / sensors as f64)
}

/// N of the sentence "a trouble that fewer than one sensor in N has may not have shown yet", after `sensors` sensors without it;
/// `None` where none was worn.
///
/// The least whole N with 1 / N no more than [`share_unseen`]: of any share below 1 / N it holds that as many sensors without the
/// trouble come up in more than one of twenty studies. 5 sensors: 3, 10: 4, 20: 8, 60: 21. Source: as there. Checked by
/// `tests/unseen.rs`.
#[must_use]
pub fn one_in_unseen(sensors: usize) -> Option<u64> {
    let least = 1.0 / share_unseen(sensors);
    (sensors > 0).then_some(least.ceil() as u64)
}
