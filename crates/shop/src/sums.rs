//! Sums of money, in whole minor units: what an hour's part costs, what a tax is, and how an amount
//! is shared out. Nothing is lost or made: shares of an amount add up to it.

/// Half and more goes up.
fn rounded(numerator: i128, denominator: i128) -> i64 {
    let twice = numerator.saturating_mul(2).saturating_add(denominator);
    i64::try_from(twice.div_euclid(denominator.saturating_mul(2))).unwrap_or(i64::MAX)
}

/// What so many minutes cost, to the nearest minor unit.
///
/// ```
/// # use shop::sums::of_minutes;
/// assert_eq!(of_minutes(125, 4_800), 10_000);
/// assert_eq!(of_minutes(1, 4_830), 81); // 80.5
/// ```
#[must_use]
pub fn of_minutes(minutes: i64, hour_minor: i64) -> i64 {
    rounded(i128::from(minutes) * i128::from(hour_minor), 60)
}

/// A tax on a sum, to the nearest minor unit; never below 0.
///
/// ```
/// # use shop::sums::tax;
/// assert_eq!(tax(10_000, 19_000), 1_900);
/// assert_eq!(tax(1_999, 9_975), 199); // 199.40
/// ```
#[must_use]
pub fn tax(sum_minor: i64, milli_percent: i64) -> i64 {
    rounded(
        i128::from(sum_minor.max(0)) * i128::from(milli_percent),
        100_000,
    )
}

/// An amount shared out by weights: each share is the exact one, rounded down or up, and they add
/// up to the amount. What is left over goes to the largest remainders, the first first.
///
/// Weights below 0 count as 0; where all are 0, the first share takes everything.
#[must_use]
pub fn share(amount: i64, weights: &[i64]) -> Vec<i64> {
    let all: i128 = weights.iter().map(|w| i128::from(*w.max(&0))).sum();
    if all == 0 {
        let mut shares = vec![0; weights.len()];
        if let Some(first) = shares.first_mut() {
            *first = amount;
        }
        return shares;
    }
    let exact = |w: &i64| i128::from(amount) * i128::from(*w.max(&0));
    let mut shares: Vec<i64> = weights
        .iter()
        .map(|w| i64::try_from(exact(w).div_euclid(all)).unwrap_or(0))
        .collect();
    let mut left = amount - shares.iter().sum::<i64>();
    let mut order: Vec<usize> = (0..weights.len()).collect();
    let over = |i: &usize| weights.get(*i).map_or(0, |w| exact(w).rem_euclid(all));
    order.sort_by_key(|i| (std::cmp::Reverse(over(i)), *i));
    for i in order {
        if left == 0 {
            break;
        }
        if let Some(share) = shares.get_mut(i) {
            *share += 1;
            left -= 1;
        }
    }
    shares
}
