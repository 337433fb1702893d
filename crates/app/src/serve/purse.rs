//! What a job has cost so far against what the owner allows.

use super::money;
use maud::{Markup, html};
use shop::{At, Bill, JobId, Reader, ShopError};

/// The currency of the bench.
pub(crate) fn currency(r: &Reader<'_>) -> Result<String, ShopError> {
    Ok(r.setting("currency")?
        .filter(|c| !c.is_empty())
        .unwrap_or_else(|| "EUR".to_owned()))
}

/// What an hour costs where its task has no rate of its own, in minor units.
pub(crate) fn usual_rate(r: &Reader<'_>, currency: &str) -> Result<i64, ShopError> {
    Ok(r.setting("rate")?
        .and_then(|t| money::parse(&t, currency))
        .unwrap_or(0))
}

/// A job's money.
pub(crate) struct Purse {
    /// Everything it has cost, taxes with it.
    pub(crate) whole: Bill,
    /// The last ceiling that the owner gave, with its currency.
    pub(crate) ceiling: Option<(i64, String)>,
    /// The currency of the bench.
    pub(crate) currency: String,
}

/// How near the ceiling is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Near {
    /// Below four fifths of it.
    Below,
    /// At four fifths or more.
    Warns,
    /// Above it.
    Above,
}

/// The money of a job as it stands.
pub(crate) fn of(r: &Reader<'_>, job: JobId, now: At) -> Result<Purse, ShopError> {
    let currency = currency(r)?;
    let usual = usual_rate(r, &currency)?;
    let ceiling = r
        .authorisations(job)?
        .into_iter()
        .rev()
        .find_map(|a| Some((a.fields.ceiling_minor?, a.fields.currency)));
    Ok(Purse {
        whole: r.whole_bill(&[job], &currency, usual, now)?,
        ceiling,
        currency,
    })
}

/// Where a sum stands against a ceiling; no fraction is ever taken.
pub(crate) fn near(costs: i64, ceiling: i64) -> Near {
    if costs > ceiling {
        Near::Above
    } else if i128::from(costs) * 5 >= i128::from(ceiling) * 4 && ceiling > 0 {
        Near::Warns
    } else {
        Near::Below
    }
}

impl Purse {
    /// Against the ceiling, where there is one in the currency of the bench.
    pub(crate) fn near(&self) -> Option<Near> {
        let (ceiling, currency) = self.ceiling.as_ref()?;
        (*currency == self.currency).then(|| near(self.whole.costs(), *ceiling))
    }

    /// The sum, the ceiling and a bar with a mark at 80 %.
    pub(crate) fn words(&self) -> Markup {
        let costs = self.whole.costs();
        let Some((ceiling, currency)) = &self.ceiling else {
            return html! {
                @if costs > 0 { p { strong { (money::shown(costs, &self.currency)) } " so far" } }
                p.hint { "No amount is agreed yet." }
            };
        };
        let Some(near) = self.near() else {
            return html! {
                p { strong { (money::shown(costs, &self.currency)) } " so far; " (money::shown(*ceiling, currency)) " agreed. Two currencies: compare them by hand." }
            };
        };
        let warns = ceiling / 5 * 4 + ceiling % 5 * 4 / 5;
        html! {
            (gauge(costs, *ceiling, currency))
            p.spread {
                span { strong { (money::shown(costs, currency)) } " of " (money::amount(*ceiling, currency)) " agreed" }
                span.small { @match near {
                    Near::Below => { "warns at " (money::amount(warns, currency)) },
                    Near::Warns => { strong { "past 80 %: call the owner" } },
                    Near::Above => { strong { "above what is agreed: call the owner" } },
                } }
            }
        }
    }
}

fn gauge(spent: i64, ceiling: i64, currency: &str) -> Markup {
    let share = if ceiling > 0 {
        (spent as f64 / ceiling as f64).clamp(0.0, 1.0) * 360.0
    } else {
        360.0
    };
    html! {
        svg.gauge width="360" height="28" viewBox="0 0 360 28" role="img"
            aria-label=(format!("{} of {} used", money::amount(spent, currency), money::amount(ceiling, currency))) {
            rect.well x="0" y="4" width="360" height="20" {}
            rect.used x="0" y="4" width=(format!("{share:.0}")) height="20" {}
            path.mark d="M288 0V28" {}
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_warns_at_four_fifths_to_the_cent() {
        for (costs, ceiling, is) in [
            (30_399, 38_000, Near::Below),
            (30_400, 38_000, Near::Warns),
            (38_000, 38_000, Near::Warns),
            (38_001, 38_000, Near::Above),
            (0, 0, Near::Below),
            (1, 0, Near::Above),
            (79, 99, Near::Below),
            (80, 99, Near::Warns),
        ] {
            assert_eq!(near(costs, ceiling), is, "{costs} of {ceiling}");
        }
    }
}
