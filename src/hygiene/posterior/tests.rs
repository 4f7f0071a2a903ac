use super::*;
use crate::hygiene::censored::LogResult;
use crate::hygiene::lognormal::LogSample;
use crate::model::measured::Measured;

fn logs(results: &[Measured]) -> Vec<LogResult> {
    results.iter().filter_map(|result| LogResult::of(*result)).collect()
}

fn values(values: &[f64]) -> Vec<LogResult> {
    logs(&values.iter().copied().map(Measured::Value).collect::<Vec<_>>())
}

#[test]
fn print_timing() {
    let results = values(&[0.21, 0.35, 0.52]);
    let started = std::time::Instant::now();
    let p = Posterior::of(&results, Prior::Box(PriorBox::of_limit(5.0))).unwrap();
    println!("{:?} slices {} rating {:?}", started.elapsed(), p.slices.len(), p.rating(5.0));
    println!("{} {}", p.ln_percentile_quantile(0.95, 0.5).exp(), p.ln_percentile_quantile(0.95, 0.95).exp());
    println!("{}", p.exceedance(5.0));
    println!("{:?}", started.elapsed());
    let nd = logs(&[Measured::Below(0.1); 6]);
    let p = Posterior::of(&nd, Prior::Box(PriorBox::of_limit(5.0))).unwrap();
    println!("slices {} rating {:?}", p.slices.len(), p.rating(5.0));
    println!("{} {}", p.ln_percentile_quantile(0.95, 0.5).exp(), p.ln_percentile_quantile(0.95, 0.95).exp());
    println!("{}", p.exceedance(5.0));
    let x = [1.0, 2.0, 4.0, 0.7, 1.1, 3.0];
    let p = Posterior::of(&values(&x), Prior::Flat).unwrap();
    let sample = LogSample::of(&x).unwrap();
    println!("slices {} {} {:?}", p.slices.len(), p.ln_percentile_quantile(0.95, 0.95).exp(), sample.percentile_limit(0.95, 0.95));
    println!("{} {:?}", p.exceedance_quantile(5.0, 0.95), sample.exceedance_limit(5.0, 0.95));
    println!("{} {:?}", p.ln_mean_quantile(0.95).exp(), sample.mean_upper(0.95));
    let x = [1.0, 2.0];
    let p = Posterior::of(&values(&x), Prior::Flat).unwrap();
    let sample = LogSample::of(&x).unwrap();
    println!("slices {} {} {:?}", p.slices.len(), p.ln_percentile_quantile(0.95, 0.95), sample.percentile_limit(0.95, 0.95).unwrap().ln());
}
