//! Pull-out strength: its band, and what other laws say.

use maud::{Markup, html};

use crate::number::{Unit, fixed};
use crate::record::PulloutRecord;

const WIDTH: f64 = 460.0;
const LEFT: f64 = 10.0;
const RIGHT: f64 = 16.0;

/// The band of a strength; nothing when it is not known.
pub(crate) fn strength_figure(pullout: &PulloutRecord) -> Markup {
    let (Some(estimate), Some(low), Some(high)) = (pullout.estimate, pullout.low, pullout.high)
    else {
        return html! {};
    };
    let others = || pullout.other_laws.iter().filter_map(|law| law.value);
    let most = others().fold(high.max(estimate), f64::max).max(100.0) * 1.05;
    let step = [50.0, 100.0, 200.0, 500.0, 1000.0, 2000.0, 5000.0, 10_000.0, 20_000.0]
        .into_iter()
        .find(|step| most / step <= 6.0)
        .unwrap_or(most);
    let x = |n: f64| LEFT + n / most * (WIDTH - LEFT - RIGHT);
    let marks = (0..=6).map(|i| f64::from(i) * step).take_while(|n| *n <= most);
    html! {
        svg .strength viewBox=(format!("0 0 {WIDTH} 74")) role="img" aria-label=(format!(
            "Pull-out strength {}, from {} to {}; triangles are other laws.",
            Unit::Newton.with_unit(Some(estimate)), Unit::Newton.with_unit(Some(low)),
            Unit::Newton.with_unit(Some(high))
        )) {
            line .tick x1=(LEFT) x2=(WIDTH - RIGHT) y1="36" y2="36" {}
            @for mark in marks {
                line .tick x1=(format!("{:.1}", x(mark))) x2=(format!("{:.1}", x(mark))) y1="36" y2="41" {}
                text text-anchor="middle" x=(format!("{:.1}", x(mark))) y="54" { (fixed(mark, 0)) }
            }
            rect .reach x=(format!("{:.1}", x(low))) width=(format!("{:.1}", x(high) - x(low))) y="18"
                height="12" {}
            line .middle x1=(format!("{:.1}", x(estimate))) x2=(format!("{:.1}", x(estimate))) y1="13"
                y2="35" {}
            @for other in others() {
                path .other d=(format!("M{:.1} 12l-4 -8h8z", x(other))) {}
            }
            text text-anchor="middle" x=(WIDTH / 2.0) y="70" { "pull-out strength, N" }
        }
    }
}
