//! Shares of pairs within 20 %: what the same would do to their lower end. Not taken: see `pipeline/stats/docs/seldom.md`.

use crate::means::{BIAS, Law, Place, contaminated, sound};
use crate::{Line, SIZES, generator, table};
use whereworn_stats::distributions::{beta_quantile, normal_cdf};
use whereworn_stats::interval::Interval;
use whereworn_stats::rates::clustered::share_within;
use whereworn_stats::rates::unseen::share_unseen;

const WAYS: [&str; 3] = [
    "site alone",
    "worst proven sensor elsewhere",
    "as many as the study leaves room for",
];

const LIMIT: f64 = 20.0;

fn truth(law: &Law) -> f64 {
    let sd = law.between.hypot(law.within);
    let within = |mean: f64| normal_cdf((LIMIT - mean) / sd) - normal_cdf((-LIMIT - mean) / sd);
    (1.0 - law.share) * within(BIAS) + law.share * within(BIAS + law.off)
}

pub fn run(studies: usize) {
    let mut lines = Vec::new();
    for (between, within) in [(5.0, 9.0), (8.0, 8.0), (2.0, 10.0), (3.0, 6.0), (10.0, 5.0)] {
        for sensors in SIZES {
            let name = format!("{sensors} sensors, SD {between} % between and {within} % within");
            lines.push(line(
                name,
                &[(sound(between, within), sensors); 3],
                &[0, 1, 2],
                studies,
            ));
        }
    }
    for sensors in SIZES {
        let laws = [sound(2.0, 6.0), sound(5.0, 9.0), sound(10.0, 12.0)];
        for site in 0..3 {
            let name = format!(
                "{sensors} sensors, SD 2, 5, 10 % between: site {}",
                site + 1
            );
            lines.push(line(
                name,
                &laws.map(|law| (law, sensors)),
                &[site],
                studies,
            ));
        }
    }
    println!("\n## Share within 20 %, ordinary sensors at three sites");
    table(&WAYS, &lines);
    for good in [sound(5.0, 9.0), sound(3.0, 6.0)] {
        println!(
            "\n## Share within 20 %, few sensors that read low, at each of three sites; SD {} % between",
            good.between
        );
        let all = contaminated(good).into_iter();
        let lines: Vec<Line> = all
            .map(|(name, law, sensors)| line(name, &[(law, sensors); 3], &[0, 1, 2], studies))
            .collect();
        table(&WAYS, &lines);
        println!(
            "\n## Share within 20 %, the same at another site alone; SD {} % between",
            good.between
        );
        let all = contaminated(good).into_iter();
        let lines: Vec<Line> = all
            .map(|(name, law, sensors)| {
                let places = [(law, sensors), (good, sensors), (good, sensors)];
                line(format!("{name}: the others"), &places, &[1, 2], studies)
            })
            .collect();
        table(&WAYS, &lines);
    }
}

fn line(name: String, places: &[Place], judged: &[usize], studies: usize) -> Line {
    let mut random = generator(&name);
    let (law, sensors) = places[judged[0]];
    let unseen = (1.0 - law.share).powi(sensors as i32);
    let mut line = Line::new(name, unseen, truth(&law));
    for _ in 0..studies {
        let study: Vec<Vec<Vec<f64>>> = places
            .iter()
            .map(|(law, sensors)| (0..*sensors).map(|_| law.errors(&mut random)).collect())
            .collect();
        for &site in judged {
            line.add(&intervals(&study, site));
        }
    }
    line
}

fn intervals(study: &[Vec<Vec<f64>>], site: usize) -> Vec<Interval> {
    let own = &study[site];
    let alone = of_site(own);
    let all = study.iter().map(Vec::len).sum::<usize>() as f64;
    let others = study.iter().enumerate().filter(|(other, _)| *other != site);
    let sensors = others.flat_map(|(_, sensors)| sensors);
    let bounds: Vec<f64> = sensors.map(|errors| proven(errors, all)).collect();
    let worst = bounds.iter().copied().fold(1.0, f64::min);
    let beyond = bounds.iter().filter(|bound| **bound < alone.lower).count() as f64;
    // Clopper and Pearson's one-sided bound.
    let of_study = beta_quantile(0.95, beyond + 1.0, (all - beyond).max(0.5));
    let with = |share: f64| Interval {
        lower: alone.lower.min((1.0 - share) * alone.lower + share * worst),
        ..alone
    };
    let share = share_unseen(own.len());
    vec![alone, with(share), with(share.min(of_study))]
}

fn of_site(own: &[Vec<f64>]) -> Interval {
    let errors: Vec<f64> = own.iter().flatten().map(|e| e / LIMIT).collect();
    let numbered = own.iter().enumerate();
    let sensors = numbered.flat_map(|(sensor, of)| std::iter::repeat_n(sensor, of.len()));
    let sensors: Vec<usize> = sensors.collect();
    let all = Interval {
        lower: 0.0,
        upper: 1.0,
    };
    share_within(&errors, &sensors)
        .and_then(|s| s.interval)
        .unwrap_or(all)
}

/// The share within that a sensor has at most, with 95 % confidence for all `count` together.
fn proven(errors: &[f64], count: f64) -> f64 {
    let hits = errors.iter().filter(|e| e.abs() <= LIMIT).count() as f64;
    let misses = errors.len() as f64 - hits;
    if misses <= 0.0 {
        return 1.0;
    }
    beta_quantile(1.0 - 0.05 / count, hits + 1.0, misses)
}
