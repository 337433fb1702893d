//! The sparse elimination against dense elimination by `nalgebra`, which shares no code.

use nalgebra::{Complex as DenseComplex, DMatrix, DVector};
use rand::{RngExt as _, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::{Complex, Factors, Pattern, Placed, Scalar, Single, Triangle};

/// A random chain-like network: conductances over ten decades, a few transconductances.
struct Net {
    size: usize,
    between: Vec<(usize, usize, f64)>,
    ground: Vec<(usize, f64)>,
    controlled: Vec<(usize, usize, usize, f64)>,
}

fn net(rng: &mut ChaCha8Rng) -> Net {
    let size = rng.random_range(1..30);
    let mut net = Net {
        size,
        between: Vec::new(),
        ground: Vec::new(),
        controlled: Vec::new(),
    };
    for node in 0..size {
        net.ground
            .push((node, 10.0_f64.powf(rng.random_range(-9.0..0.0))));
        for _ in 0..2 {
            let reach = rng.random_range(0..size.min(5));
            let other = (node + reach) % size;
            if other != node {
                net.between
                    .push((node, other, 10.0_f64.powf(rng.random_range(-8.0..1.0))));
            }
        }
    }
    for _ in 0..size / 3 {
        let (row, plus, minus) = (
            rng.random_range(0..size),
            rng.random_range(0..size),
            rng.random_range(0..size),
        );
        net.controlled.push((
            row,
            plus,
            minus,
            10.0_f64.powf(rng.random_range(-5.0..-2.0)),
        ));
    }
    net
}

fn fill<S: Single>(net: &Net, turn: impl Fn(f64, usize) -> S) -> (Pattern, Vec<S>) {
    fill_late(net, &[], turn)
}

/// With these rows and columns eliminated last.
fn fill_late<S: Single>(
    net: &Net,
    late: &[usize],
    turn: impl Fn(f64, usize) -> S,
) -> (Pattern, Vec<S>) {
    let mut entries = Vec::new();
    for &(a, b, _) in &net.between {
        entries.extend([(a, b), (b, a)]);
    }
    for &(row, plus, minus, _) in &net.controlled {
        entries.extend([(row, plus), (row, minus)]);
    }
    let pattern = Pattern::with_late(net.size, net.size, &entries, &[], late).unwrap();
    let mut matrix = pattern.zeros();
    for (at, &(a, b, g)) in net.between.iter().enumerate() {
        let g = turn(g, at);
        let there = pattern.stamp(a, Some(a), Some(b)).unwrap();
        there.add(&mut matrix, g);
        let back = pattern.stamp(b, Some(b), Some(a)).unwrap();
        back.add(&mut matrix, g);
    }
    for &(a, g) in &net.ground {
        let stamp = pattern.stamp(a, Some(a), None).unwrap();
        stamp.add(&mut matrix, turn(g, 0));
    }
    for (at, &(row, plus, minus, g)) in net.controlled.iter().enumerate() {
        let stamp = pattern.stamp(row, Some(plus), Some(minus)).unwrap();
        stamp.add(&mut matrix, turn(g, at));
    }
    (pattern, matrix)
}

/// Largest backward error of `x`, row by row: residual over the sizes of its terms.
fn backward_error<S: Single>(dense: &[Vec<S>], x: &[S], b: &[S]) -> f64 {
    let mut worst: f64 = 0.0;
    for (row, &right) in dense.iter().zip(b) {
        let (mut sum, mut terms) = (-right, right.size());
        for (&entry, &value) in row.iter().zip(x) {
            sum += entry * value;
            terms += (entry * value).size();
        }
        worst = worst.max(sum.size() / terms.max(1e-300));
    }
    worst
}

#[test]
fn real_networks_agree_with_dense_elimination_forward_and_transposed() {
    let mut rng = ChaCha8Rng::seed_from_u64(1);
    for _ in 0..500 {
        let net = net(&mut rng);
        let (pattern, matrix) = fill(&net, |g, _| g);
        let dense = pattern.dense(&matrix);
        let reference = DMatrix::from_fn(net.size, net.size, |r, c| dense[r][c]);
        let b: Vec<f64> = (0..net.size).map(|_| rng.random_range(-1.0..1.0)).collect();
        let mut factors = Factors::new(&pattern);
        factors.factor(&pattern, &matrix).unwrap();
        let mut x = b.clone();
        factors.solve(&pattern, &mut x);
        assert!(backward_error(&dense, &x, &b) < 1e-11);
        let expected = reference
            .clone()
            .lu()
            .solve(&DVector::from_column_slice(&b))
            .unwrap();
        let size = expected.amax();
        for (got, want) in x.iter().zip(expected.iter()) {
            // Conditions reach 1e9, so both answers may differ in their ninth digit.
            assert!((got - want).abs() < 1e-6 * size, "{got} {want}");
        }
        let mut y = b.clone();
        factors.solve_transposed(&pattern, &mut y);
        let turned: Vec<Vec<f64>> = (0..net.size)
            .map(|c| dense.iter().map(|row| row[c]).collect())
            .collect();
        assert!(backward_error(&turned, &y, &b) < 1e-9);
    }
}

#[test]
fn phasors_agree_with_dense_complex_elimination() {
    let mut rng = ChaCha8Rng::seed_from_u64(2);
    for _ in 0..200 {
        let net = net(&mut rng);
        let (pattern, matrix) = fill(&net, |g, at| Complex::from_polar(g, (at % 4) as f64 * 0.4));
        let dense = pattern.dense(&matrix);
        let reference = DMatrix::from_fn(net.size, net.size, |r, c| {
            DenseComplex::new(dense[r][c].re, dense[r][c].im)
        });
        let b: Vec<Complex> = (0..net.size)
            .map(|_| Complex::new(rng.random_range(-1.0..1.0), rng.random_range(-1.0..1.0)))
            .collect();
        let mut factors = Factors::new(&pattern);
        factors.factor(&pattern, &matrix).unwrap();
        let mut x = b.clone();
        factors.solve(&pattern, &mut x);
        // Random controlled sources of any phase can cancel pivots down to the limit.
        assert!(backward_error(&dense, &x, &b) < 1e-9);
        let right =
            DVector::from_iterator(net.size, b.iter().map(|v| DenseComplex::new(v.re, v.im)));
        let expected = reference.lu().solve(&right).unwrap();
        let size = expected.iter().map(|v| v.norm()).fold(0.0, f64::max);
        for (got, want) in x.iter().zip(expected.iter()) {
            assert!((DenseComplex::new(got.re, got.im) - want).norm() < 1e-6 * size);
        }
    }
}

/// Both triangles laid out for solving again and again, early and late part apart, give what the factors give.
#[test]
fn triangles_laid_out_give_what_their_factors_give() {
    let mut rng = ChaCha8Rng::seed_from_u64(4);
    let mut parted = 0;
    for _ in 0..200 {
        let net = net(&mut rng);
        let late: Vec<usize> = (0..net.size)
            .filter(|_| rng.random_range(0..3) == 0)
            .collect();
        let turned = |g, at| Complex::from_polar(g, (at % 4) as f64 * 0.4);
        let (pattern, matrix) = fill_late(&net, &late, turned);
        let b: Vec<Complex> = (0..net.size)
            .map(|_| Complex::new(rng.random_range(-1.0..1.0), rng.random_range(-1.0..1.0)))
            .collect();
        let mut factors = Factors::new(&pattern);
        let mut begun = Vec::new();
        if !factors.begin(&pattern, &matrix, &mut begun) {
            continue;
        }
        factors.resume(&begun);
        if !factors.finish(&pattern) {
            continue;
        }
        let mut expected = b.clone();
        factors.solve(&pattern, &mut expected);

        let (size, early) = (pattern.size(), pattern.early());
        parted += usize::from(0 < early && early < size);
        let mut work = Placed::noughts(size);
        for (slot, (row, _)) in work.pairs_mut().iter_mut().zip(pattern.pivots()) {
            *slot = [b[row].re, b[row].im];
        }
        let ranges = [(0..size, 0..early), (early..size, early..size)];
        for (rows, columns) in ranges {
            let mut below = Triangle::below(&pattern, rows, &columns).unwrap();
            below.fill_below(&factors);
            below.pass(&mut work);
        }
        for (value, inverse) in work.pairs_mut().iter_mut().zip(factors.inverse()) {
            let product = Complex::new(value[0], value[1]) * *inverse;
            *value = [product.re, product.im];
        }
        for rows in [early..size, 0..early] {
            let mut right = Triangle::right(&pattern, rows).unwrap();
            right.fill_right(&factors);
            right.pass(&mut work);
        }
        let most = expected.iter().map(|x| x.size()).fold(0.0, f64::max);
        for ((_, column), got) in pattern.pivots().zip(work.pairs()) {
            let off = (Complex::new(got[0], got[1]) - expected[column]).size();
            assert!(off < 1e-9 * most, "{got:?} for {:?}", expected[column]);
        }
    }
    assert!(parted > 100);
}

/// Two nodes tied by 20 S that hang on 1e-13 S: 1e-12 A lifts both by 5 V, exactly.
#[test]
fn an_island_keeps_its_ground_conductance_beside_a_short() {
    let pattern = Pattern::new(2, 2, &[(0, 1), (1, 0)]).unwrap();
    let mut matrix = pattern.zeros::<f64>();
    for (a, b) in [(0, 1), (1, 0)] {
        let across = pattern.stamp(a, Some(a), Some(b)).unwrap();
        across.add(&mut matrix, 20.0);
        let down = pattern.stamp(a, Some(a), None).unwrap();
        down.add(&mut matrix, 1e-13);
    }
    let mut factors = Factors::new(&pattern);
    factors.factor(&pattern, &matrix).unwrap();
    let mut x = [1e-12, 0.0];
    factors.solve(&pattern, &mut x);
    assert!(
        (x[0] - 5.0).abs() < 1e-12 && (x[1] - 5.0).abs() < 1e-12,
        "{x:?}"
    );
}

/// An ideal amplifier's equation has no term in its own current: rows must be exchanged.
/// Gain 3 from a node at 2 V drives 6 V into a 2 S load.
#[test]
fn an_equation_without_its_own_unknown_gets_another_pivot() {
    // Unknowns: input, output, amplifier current. Rows: input, output, amplifier.
    let pattern = Pattern::new(3, 2, &[(1, 2), (2, 0), (2, 1)]).unwrap();
    let mut matrix = pattern.zeros::<f64>();
    for (row, plus, value) in [
        (0, 0, 1.0),
        (1, 1, 2.0),
        (1, 2, 1.0),
        (2, 1, 1.0),
        (2, 0, -3.0),
    ] {
        let stamp = pattern.stamp(row, Some(plus), None).unwrap();
        stamp.add(&mut matrix, value);
    }
    let mut factors = Factors::new(&pattern);
    factors.factor(&pattern, &matrix).unwrap();
    assert_eq!(factors.dense_count(), 0);
    let mut x = [2.0, 0.0, 0.0];
    factors.solve(&pattern, &mut x);
    assert_eq!(x, [2.0, 6.0, -12.0]);
    let mut y = [0.0, 1.0, 0.0];
    factors.solve_transposed(&pattern, &mut y);
    // How the output follows each row's right side.
    assert_eq!(y, [3.0, 0.0, 1.0]);
}

/// A pivot that cancels to nothing sends the matrix to the dense elimination.
#[test]
fn a_cancelled_pivot_is_seen_and_survived() {
    let pattern = Pattern::new(2, 2, &[(0, 1), (1, 0)]).unwrap();
    let mut matrix = pattern.zeros::<f64>();
    for (row, column, value) in [(0, 0, 1e-18), (0, 1, 1.0), (1, 0, 1.0), (1, 1, 0.0)] {
        let stamp = pattern.stamp(row, Some(column), None).unwrap();
        stamp.add(&mut matrix, value);
    }
    let mut factors = Factors::new(&pattern);
    factors.factor(&pattern, &matrix).unwrap();
    assert_eq!(factors.dense_count(), 1);
    let mut x = [1.0, 2.0];
    factors.solve(&pattern, &mut x);
    assert!(
        (x[0] - 2.0).abs() < 1e-12 && (x[1] - 1.0).abs() < 1e-12,
        "{x:?}"
    );
    let mut y = [3.0, 4.0];
    factors.solve_transposed(&pattern, &mut y);
    assert!(
        (y[0] - 4.0).abs() < 1e-12 && (y[1] - 3.0).abs() < 1e-12,
        "{y:?}"
    );
}

#[test]
fn equations_without_a_solution_name_the_free_unknown() {
    let pattern = Pattern::new(2, 2, &[(0, 1), (1, 0)]).unwrap();
    let mut matrix = pattern.zeros::<f64>();
    for (a, b) in [(0, 1), (1, 0)] {
        let across = pattern.stamp(a, Some(a), Some(b)).unwrap();
        across.add(&mut matrix, 1.0);
    }
    let mut factors = Factors::new(&pattern);
    assert_eq!(factors.factor(&pattern, &matrix).unwrap_err().unknown, 1);
    assert!(Pattern::new(2, 0, &[(0, 0), (1, 0)]).is_none());
}
