//! The synthesiser's truth against closed formulas, and against what is measured in its samples.
//!
//! Frequencies are measured here by the phase of a windowed projection, which knows nothing of how the samples were made.

use std::f64::consts::TAU;

use landfall::sound::synth::{Cause, Happening, Scenario, Synth, render};
use landfall::sound::{Heard, Source};

/// A scenario from the lines that matter to a test.
fn scenario(lines: &str) -> Scenario {
    Scenario::from_toml(&format!("title = \"a test\"\n{lines}")).expect("the test's scenario is a scenario")
}

/// Complex amplitude at `hz` of the samples around `centre`, through a Hann window of `length` frames.
fn projection(samples: &[f32], rate: f64, hz: f64, centre: usize, length: usize) -> (f64, f64) {
    let first = centre - length / 2;
    let (mut re, mut im, mut weight) = (0.0, 0.0, 0.0);
    for n in 0..length {
        let window = 0.5 - 0.5 * (TAU * n as f64 / length as f64).cos();
        let angle = TAU * hz * (n as f64 - length as f64 / 2.0) / rate;
        let sample = f64::from(samples[first + n]) * window;
        re += sample * angle.cos();
        im -= sample * angle.sin();
        weight += window;
    }
    (2.0 * re / weight, 2.0 * im / weight)
}

/// Frequency and amplitude of the sine near `guess` around `centre`.
fn sine_near(samples: &[f32], rate: f64, guess: f64, centre: usize, length: usize) -> (f64, f64) {
    let apart = length / 4;
    let mut hz = guess;
    let mut amplitude = 0.0;
    for _ in 0..4 {
        let (a, b) = (projection(samples, rate, hz, centre - apart / 2, length), projection(samples, rate, hz, centre + apart / 2, length));
        // Each projection's phase is relative to its own centre: turn the second back by the way between them.
        let between = TAU * hz * apart as f64 / rate;
        let turned = b.1.atan2(b.0) - a.1.atan2(a.0) - between;
        let rest = (turned / TAU - (turned / TAU).round()) * rate / apart as f64;
        hz += rest;
        amplitude = f64::midpoint(a.0.hypot(a.1), b.0.hypot(b.1));
    }
    (hz, amplitude)
}

fn cents(ratio: f64) -> f64 {
    1200.0 * ratio.log2()
}

fn rms(samples: &[f32]) -> f64 {
    (samples.iter().map(|&x| f64::from(x).powi(2)).sum::<f64>() / samples.len() as f64).sqrt()
}

const STEADY: &str = "[tone]\nglide_cents = 0.0\n";

#[test]
fn the_partials_of_a_stiff_string_are_where_fletcher_says() {
    // Fletcher, JASA 36, 203 (1964): 600 log2((1 + B n²)/(1 + B)); at B = 1e-4, n = 2, 3, 5, 10: 0.260, 0.692, 2.075, 8.527 cents.
    let played = render(&scenario(&format!("{STEADY}inharmonicity = 1e-4\n[[note]]\nat_s = 0.1\nstring = 3\nfret = 0\n"))).unwrap();
    let measure = |n: f64, guess: f64| sine_near(&played.samples, 48_000.0, guess * n, 48_000, 24_000).0;
    let first = measure(1.0, 195.99);
    for (n, sharp) in [(2.0, 0.260), (3.0, 0.692), (5.0, 2.075), (10.0, 8.527)] {
        let found = cents(measure(n, first * (1.0 + 5e-5 * n * n)) / (n * first));
        assert!((found - sharp).abs() < 0.02, "partial {n} is {found} cents sharp, not {sharp}");
    }
}

#[test]
fn the_pitch_measured_from_the_samples_partials_is_the_true_pitch_and_the_one_asked_for() {
    for (string, fret, b) in [(6, 0, 1.3e-4), (3, 7, 4e-4), (1, 12, 5e-5), (1, 22, 1e-4)] {
        let text = format!("{STEADY}inharmonicity = {b}\n[[note]]\nat_s = 0.1\nstring = {string}\nfret = {fret}\ndetune_cents = 7.3\n");
        let played = render(&scenario(&text)).unwrap();
        for centre in [24_000_usize, 60_000] {
            let truth = played.truth.cents(centre as u64).unwrap();
            let open = [64.0, 59.0, 55.0, 50.0, 45.0, 40.0][string - 1];
            assert!((truth - (100.0 * (open + f64::from(fret)) + 7.3)).abs() < 1e-3, "asked for is what is true: {truth}");
            let (mut sum, mut weights) = (0.0, 0.0);
            for partial in played.truth.partials(centre as u64).filter(|partial| partial.number <= 12 && partial.hz < 20_000.0) {
                let k = partial.number as f64;
                let (hz, amplitude) = sine_near(&played.samples, 48_000.0, partial.hz, centre, 16_000);
                sum += amplitude * amplitude * k * hz / k;
                weights += amplitude * amplitude * k;
            }
            let measured = 6900.0 + cents(sum / weights / 440.0);
            assert!((measured - truth).abs() < 0.02, "string {string} fret {fret}: measured {measured}, true {truth}");
        }
    }
}

#[test]
fn a_vibrato_of_25_cents_and_6_hz_swings_25_cents_6_times_a_second() {
    for (swing, centre) in [("both", 0.0), ("above", 25.0), ("below", -25.0)] {
        let text = format!(
            "{STEADY}[[note]]\nat_s = 0.0\nstring = 1\nfret = 5\n[[note.then]]\nhand = \"vibrato\"\nat_s = 0.5\nuntil_s = 3.0\nrate_hz = 6.0\n\
             half_width_cents = 25.0\nfade_ms = 0.0\nswing = \"{swing}\"\n"
        );
        let played = render(&scenario(&text)).unwrap();
        let contour: Vec<f64> = (48_000..96_000).map(|frame| played.truth.cents(frame).unwrap() - 6900.0).collect();
        let (low, high) = contour.iter().fold((f64::MAX, f64::MIN), |(low, high), &c| (low.min(c), high.max(c)));
        assert!(((high - low) / 2.0 - 25.0).abs() < 0.01, "half width {}", (high - low) / 2.0);
        let mean = contour.iter().sum::<f64>() / contour.len() as f64;
        assert!((mean - centre).abs() < 0.01, "its centre is at {mean}");
        let crossings = contour.windows(2).filter(|pair| pair[0] < mean && pair[1] >= mean).count();
        assert!((5..=6).contains(&crossings), "{crossings} swings in a second");
        // In the samples: frequency modulation by a sine of deviation d and rate r has sidebands at r Hz of J1(d/r)/J0(d/r).
        let hz = 440.0 * (mean / 1200.0).exp2();
        let index = hz * (25.0_f64 / 1200.0 * std::f64::consts::LN_2) / 6.0;
        let (carrier, side) = (amplitude_at(&played.samples, hz), amplitude_at(&played.samples, hz + 6.0));
        let wanted = bessel(1, index) / bessel(0, index);
        assert!((side / carrier / wanted - 1.0).abs() < 0.05, "sideband {} of the carrier, not {wanted}", side / carrier);
    }
}

fn amplitude_at(samples: &[f32], hz: f64) -> f64 {
    let (re, im) = projection(samples, 48_000.0, hz, 84_000, 96_000 - 24_000);
    re.hypot(im)
}

/// Bessel function of the first kind by its series.
fn bessel(order: i32, x: f64) -> f64 {
    let factorial = |n: i32| (1..=n).map(f64::from).product::<f64>();
    (0..20).map(|m| (-1.0_f64).powi(m) / (factorial(m) * factorial(m + order)) * (x / 2.0).powi(2 * m + order)).sum()
}

#[test]
fn a_second_string_five_cents_off_beats_as_often_as_arithmetic_says() {
    // 440 Hz and 5 cents above: 440 (2^(5/1200) - 1) = 1.2728 beats a second.
    let text = format!(
        "length_s = 4.0\n{STEADY}partials = 1\ndecay_s = 60.0\n[[note]]\nat_s = 0.0\nstring = 1\nfret = 5\ndamped_s = 4.0\n\
         [[ringing]]\nstring = 1\nfret = 5\ndetune_cents = 5.0\nbelow_db = 0.0\ndecay_s = 60.0\n"
    );
    let played = render(&scenario(&text)).unwrap();
    // Two equal tones cancel where their phases are opposite: the envelope falls through half of its mean once a beat.
    let levels: Vec<f64> = (0..180_000).step_by(48).map(|frame| rms(&played.samples[frame..frame + 1200])).collect();
    let half = 0.5 * levels.iter().sum::<f64>() / levels.len() as f64;
    let crossings: Vec<usize> = (1..levels.len()).filter(|&i| (levels[i - 1] >= half) != (levels[i] >= half)).collect();
    // The middle between the fall and the rise does not move when the strings decay.
    let lows: Vec<f64> = crossings.chunks_exact(2).map(|pair| (pair[0] + pair[1]) as f64 / 2.0).collect();
    let rate = (lows.len() - 1) as f64 / ((lows[lows.len() - 1] - lows[0]) * 0.001);
    assert!((rate - 1.2728).abs() < 0.002, "{rate} beats a second at {lows:?}");
}

#[test]
fn noise_lies_as_far_below_the_melody_as_asked() {
    let text = |noise: &str| scenario(&format!("[[note]]\nat_s = 0.0\nstring = 2\nfret = 8\ndamped_s = 2.0\n{noise}"));
    let quiet = render(&text("")).unwrap();
    for snr in [40.0, 20.0] {
        let hissing = render(&text(&format!("[noise]\nsnr_db = {snr}\n"))).unwrap();
        let noise: Vec<f32> = hissing.samples.iter().zip(&quiet.samples).map(|(a, b)| a - b).collect();
        let measured = 20.0 * (rms(&quiet.samples[..96_000]) / rms(&noise)).log10();
        assert!((measured - snr).abs() < 0.3, "{measured} dB, not {snr}");
        let flat = noise.windows(2).map(|pair| f64::from(pair[0]) * f64::from(pair[1])).sum::<f64>();
        let power = noise.iter().map(|&x| f64::from(x).powi(2)).sum::<f64>();
        assert!((flat / power).abs() < 0.01, "neighbouring samples of white noise agree by {}", flat / power);
    }
}

#[test]
fn the_true_level_is_the_level_of_the_samples() {
    let played = render(&scenario("[tone]\npick_db = -120.0\n[[note]]\nat_s = 0.0\nstring = 4\nfret = 5\n")).unwrap();
    for second in [0.1, 0.5, 1.0, 2.0] {
        let centre = (second * 48_000.0) as usize;
        // 20 periods of G3, 195.998 Hz.
        let measured = 20.0 * rms(&played.samples[centre - 2_449..centre + 2_449]).log10();
        let truth = played.truth.level_dbfs(centre as u64).unwrap();
        assert!((measured - truth).abs() < 0.02, "at {second} s {measured} dBFS, true {truth}");
    }
    assert!((played.truth.level_dbfs(480).unwrap() + 20.0).abs() < 0.3);
}

#[test]
fn a_driven_string_keeps_its_pitch_and_gains_partials() {
    let text =
        |drive: &str| scenario(&format!("{drive}{STEADY}inharmonicity = 0.0\npartials = 1\n[[note]]\nat_s = 0.0\nstring = 3\nfret = 2\n"));
    let (clean, driven) = (render(&text("")).unwrap(), render(&text("drive = \"heavy\"\n")).unwrap());
    let hz = clean.truth.hz(24_000).unwrap();
    let (found, first) = sine_near(&driven.samples, 48_000.0, hz, 24_000, 16_000);
    assert!(cents(found / hz).abs() < 0.001, "{} cents", cents(found / hz));
    let (_, third) = sine_near(&driven.samples, 48_000.0, 3.0 * hz, 24_000, 16_000);
    let (_, clean_third) = sine_near(&clean.samples, 48_000.0, 3.0 * hz, 24_000, 16_000);
    assert!(third > 0.2 * first && clean_third < 1e-4, "a clipped sine has a third partial: {third} of {first}");
    assert_eq!(clean.truth.hz(24_000), driven.truth.hz(24_000));
}

#[test]
fn no_partial_passes_the_nyquist_frequency_in_a_bend() {
    let text = "rate_hz = 8000\n[[note]]\nat_s = 0.0\nstring = 1\nfret = 12\n\
                [[note.then]]\nhand = \"bend\"\nat_s = 0.5\ncents = 300.0\ntakes_ms = 300.0\n";
    let played = render(&scenario(text)).unwrap();
    for frame in 0..12_000 {
        assert!(played.truth.partials(frame).all(|partial| partial.hz < 4000.0));
    }
    // What lies between the partials of the held bend is at least 70 dB down: nothing was folded back.
    let hz = played.truth.hz(8_000).unwrap();
    let level = |hz: f64| {
        let (re, im) = projection(&played.samples, 8000.0, hz, 8_000, 4_000);
        re.hypot(im)
    };
    for between in [0.5, 1.5, 2.5, 3.5] {
        assert!(level(hz * between) < level(hz) * 3e-4, "{} at {between} of the pitch", level(hz * between) / level(hz));
    }
}

#[test]
fn a_straight_bend_arrives_where_its_line_says() {
    // 200 cents in 150 ms from 0.400 s: 190 cents are reached at 0.5425 s, 10 cents are left at 0.4075 s.
    let text = "[tone]\nglide_cents = 0.0\n[[note]]\nat_s = 0.0\nstring = 2\nfret = 8\n\
                [[note.then]]\nhand = \"bend\"\nat_s = 0.4\ncents = 200.0\ntakes_ms = 150.0\nshape = \"straight\"\n\
                [[note.then]]\nhand = \"release\"\nat_s = 1.4\nlands_cents = 8.0\ntakes_ms = 192.0\nshape = \"straight\"\n\
                [[note.then]]\nhand = \"pick\"\nat_s = 1.8\n";
    let truth = render(&scenario(text)).unwrap().truth;
    let bends = truth.bends();
    assert_eq!(bends.len(), 1);
    let bend = bends[0];
    let near = |found: Option<landfall::units::FrameTime>, seconds: f64| {
        let found = found.unwrap().seconds(truth.rate());
        assert!((found - seconds).abs() < 3e-5, "{found} s, not {seconds} s");
    };
    near(bend.start, 0.4075);
    near(Some(bend.arrival), 0.5425);
    near(bend.release_start, 1.41);
    near(bend.release_end, 1.582);
    assert!((bend.origin_cents - 6700.0).abs() < 1e-9 && (bend.held_cents - 6900.0).abs() < 1e-9);
    assert!((bend.landing_cents.unwrap() - 6708.0).abs() < 1e-9);
    assert_eq!(bend.overshoot_cents, Some(0.0));
    let happened: Vec<Happening> = truth.events().iter().map(|event| event.what).collect();
    assert_eq!(
        happened,
        [
            Happening::Onset(Cause::Pick),
            Happening::BendStart,
            Happening::Arrival,
            Happening::ReleaseStart,
            Happening::Landing,
            Happening::End,
            Happening::Onset(Cause::Again),
            Happening::End
        ]
    );
}

#[test]
fn an_overshoot_arrives_when_it_comes_back_and_a_sag_is_in_the_hold() {
    let text = "[tone]\nglide_cents = 0.0\n[[note]]\nat_s = 0.0\nstring = 2\nfret = 8\n\
                [[note.then]]\nhand = \"bend\"\nat_s = 0.4\ncents = 200.0\ntakes_ms = 150.0\novershoot_cents = 30.0\nsettle_ms = 100.0\n\
                drift_cents_per_s = -10.0\n";
    let truth = render(&scenario(text)).unwrap().truth;
    let bend = truth.bends()[0];
    // The way back from 30 to 0 cents is half a cosine: 10 cents are left when (1 + cos πx)/2 = 1/3, x = 0.6082.
    let arrival = bend.arrival.seconds(truth.rate());
    assert!((arrival - 0.610_82).abs() < 1e-4, "{arrival}");
    let hold = bend.hold_end.since(bend.arrival).seconds(truth.rate());
    assert!(hold > 1.0);
    assert!((truth.cents(48_000).unwrap() - (6900.0 - 10.0 * (1.0 - 0.65))).abs() < 0.01);
    assert!(bend.overshoot_cents.unwrap() > 30.0, "above the sagging hold's middle: {:?}", bend.overshoot_cents);
}

#[test]
fn the_samples_do_not_depend_on_how_they_are_fetched() {
    let text = "seed = 5\ndrive = \"mild\"\n[noise]\nsnr_db = 30.0\n[hum]\nmains_hz = 50.0\nlevel_dbfs = -45.0\ndrift = 0.001\n\
                [[note]]\nat_s = 0.05\nstring = 2\nfret = 8\n[[note.then]]\nhand = \"pick\"\nat_s = 0.3\n\
                [[note]]\nat_s = 0.6\nstring = 3\nfret = 7\ndamped_s = 0.4\n";
    let whole = render(&scenario(text)).unwrap().samples;
    for sizes in [vec![1], vec![64], vec![7, 480, 3, 1000], vec![4096]] {
        let mut synth = Synth::new(&scenario(text)).unwrap();
        let mut cut = Vec::new();
        let mut buffer = vec![0.0; 4096];
        for size in sizes.into_iter().cycle() {
            match synth.next(&mut buffer[..size]).unwrap() {
                Heard::Filled(count) => cut.extend_from_slice(&buffer[..count]),
                Heard::Ended => break,
                other => panic!("{other:?}"),
            }
        }
        assert!(cut == whole, "the samples differ");
    }
    let other = scenario(&text.replace("seed = 5", "seed = 6"));
    assert!(render(&other).unwrap().samples != whole, "another seed is another take");
}

#[test]
fn lost_audio_is_reported_where_it_is_and_the_rest_stays_in_place() {
    let text = "length_s = 1.0\n[[note]]\nat_s = 0.05\nstring = 2\nfret = 8\n";
    let whole = render(&scenario(text)).unwrap().samples;
    let mut synth = Synth::new(&scenario(&format!("{text}[[gap]]\nat_s = 0.5\nlasts_s = 0.1\n"))).unwrap();
    let mut buffer = [0.0; 1000];
    let mut at = 0;
    let mut lost = 0;
    loop {
        match synth.next(&mut buffer).unwrap() {
            Heard::Filled(count) => {
                assert!(buffer[..count] == whole[at..at + count]);
                at += count;
            }
            Heard::Lost(frames) => {
                assert_eq!((at, frames), (24_000, 4_800));
                at += 4_800;
                lost += 1;
            }
            Heard::Waiting => panic!("a synthesiser never waits"),
            Heard::Ended => break,
        }
    }
    assert_eq!((at, lost), (48_000, 1));
}

#[test]
fn a_restrike_after_a_release_starts_the_partials_anew() {
    let text = "[tone]\nglide_cents = 0.0\n[[note]]\nat_s = 0.1\nstring = 2\nfret = 8\n[[note.then]]\nhand = \"pick\"\nat_s = 1.0\n";
    let played = render(&scenario(text)).unwrap();
    let onset = (1.1 * 48_000.0) as usize;
    let level = |frame: usize| rms(&played.samples[frame..frame + 96]);
    assert!(level(onset - 100) < 0.5 * level(onset - 2_000), "the pick rests on the string");
    assert!(level(onset + 480) > level(onset - 2_000), "and plucks it louder than it had become");
}

#[test]
fn a_scenario_with_a_slip_is_refused_with_its_place() {
    let refused = |lines: &str| Scenario::from_toml(lines).unwrap_err().to_string();
    assert!(refused("title = \"x\"\ntempo = 3\n").contains("unknown field `tempo`"));
    let unknown =
        refused("title = \"x\"\n[[note]]\nat_s = 0.0\nstring = 2\nfret = 8\n[[note.then]]\nhand = \"bend\"\nat_s = 0.1\ncent = 3.0\n");
    assert!(unknown.contains("unknown field `cent`"), "{unknown}");
    let range = refused("title = \"x\"\n[[note]]\nat_s = 0.0\nstring = 7\nfret = 8\n");
    assert_eq!(range, "note 1: string is 7, but has to be from 1 to 6");
    let order = refused("title = \"x\"\n[[note]]\nat_s = 2.0\nstring = 1\nfret = 8\n[[note]]\nat_s = 1.0\nstring = 1\nfret = 8\n");
    assert!(order.starts_with("note 2: at_s (notes in order of time) is 1"), "{order}");
    assert!(refused("title = \"x\"\n[noise]\nsnr_db = nan\n").contains("snr_db is NaN"));
}
