//! Where a function of one number is 0.

/// A zero between two numbers at which the function has different signs, to the last bits: inverse quadratic interpolation
/// where it can be trusted, else bisection (Chandrupatla 1997 Adv Eng Softw 28:145, from memory). Where the signs are the same, an end.
pub(crate) fn zero_between(low: f64, high: f64, f: impl Fn(f64) -> f64) -> f64 {
    let (mut a, mut b) = (low, high);
    let (mut at_a, mut at_b) = (f(a), f(b));
    let mut share = 0.5;
    loop {
        let x = a + share * (b - a);
        let at_x = f(x);
        let (c, at_c);
        if at_x.is_sign_negative() == at_a.is_sign_negative() {
            (c, at_c) = (a, at_a);
        } else {
            (c, at_c) = (b, at_b);
            (b, at_b) = (a, at_a);
        }
        (a, at_a) = (x, at_x);
        let (best, at_best) = if at_a.abs() < at_b.abs() {
            (a, at_a)
        } else {
            (b, at_b)
        };
        let least = f64::EPSILON * best.abs().max(f64::MIN_POSITIVE) / (b - a).abs();
        if at_best == 0.0 || least >= 0.5 || least.is_nan() {
            return best;
        }
        let place = (a - b) / (c - b);
        let height = (at_a - at_b) / (at_c - at_b);
        share = if height * height < place && (1.0 - height).powi(2) < 1.0 - place {
            at_a / (at_b - at_a) * at_c / (at_b - at_c)
                + (c - a) / (b - a) * at_a / (at_c - at_a) * at_b / (at_c - at_b)
        } else {
            0.5
        };
        share = share.clamp(least, 1.0 - least);
    }
}

/// The zero, above 0, of a function that falls through it, looked for by doubling or halving from `start`; infinite where it
/// is still above 0 at 1e150, and 0 where it is below 0 at 1e-300.
pub(crate) fn zero_of_falling(start: f64, f: impl Fn(f64) -> f64) -> f64 {
    let (mut low, mut high) = (0.5 * start, start);
    while f(high) > 0.0 {
        (low, high) = (high, 2.0 * high);
        if high > 1e150 {
            return f64::INFINITY;
        }
    }
    while f(low) <= 0.0 {
        (low, high) = (0.5 * low, low);
        if low < 1e-300 {
            return 0.0;
        }
    }
    zero_between(low, high, f)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::cell::Cell;

    /// cos x = x at 0.739085133215160641655, the Dottie number (OEIS A003957); the cube root of 2 is OEIS A002580.
    #[test]
    fn zeros_to_the_last_bits_in_few_steps() {
        let steps = Cell::new(0);
        let counted = |x: f64| {
            steps.set(steps.get() + 1);
            x.cos() - x
        };
        let x = zero_between(-40.0, 40.0, counted);
        assert!((x - 0.739_085_133_215_160_6).abs() < 1e-15, "{x}");
        assert!(steps.get() < 25, "{}", steps.get());
        let cube_root = zero_of_falling(1.0, |x| 2.0 - x * x * x);
        assert!((cube_root - 1.259_921_049_894_873_2).abs() < 1e-15);
    }

    #[test]
    fn a_step_a_flat_function_and_far_zeros_come_to_an_end() {
        let step = zero_between(0.0, 1.0, |x| if x < 0.3 { 1.0 } else { -1.0 });
        assert!((step - 0.3).abs() < 1e-15, "{step}");
        let flat = zero_of_falling(1.0, |x| (10.0 - x).powi(9));
        assert!((flat - 10.0).abs() < 1e-12, "{flat}");
        for far in [1e-200, 1e140] {
            let found = zero_of_falling(1.0, |x| far - x);
            assert!((found / far - 1.0).abs() < 1e-15, "{found}");
        }
        assert_eq!(zero_of_falling(1.0, |_| 1.0), f64::INFINITY);
        assert_eq!(zero_of_falling(1.0, |_| -1.0), 0.0);
    }
}
