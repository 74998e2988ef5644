//! The invented sessions hold what they promise.

use cornerbook::sample::{Circuit, Driver, simulate};

#[test]
fn look() {
    for circuit in Circuit::all() {
        let scenario = simulate(&circuit, &Driver::a(), 8, 1);
        let truth = &scenario.truth;
        println!("{} length {:.1} turns {:.3} laps {} passes {}", circuit.name, circuit.length_m(), circuit.turns(), truth.laps.len(), truth.passes.len());
        for lap in &truth.laps { println!("{:?}", lap); }
        let gap = |p: &cornerbook::sample::State| {
            let (l, r) = circuit.edges();
            let d = |e: &Vec<cornerbook::geom::Point>| (0..e.len()).map(|i| { let a=e[i]; let b=e[(i+1)%e.len()]; let ab=b-a; let u=((p.position()-a).dot(ab)/ab.dot(ab)).clamp(0.0,1.0); p.position().distance_m(a+ab.scaled(u)) }).fold(f64::INFINITY,f64::min);
            (d(&l), d(&r))
        };
        let worst = truth.states.iter().step_by(50).map(|s| { let (a,b)=gap(s); (a.min(b), (a+b)) }).fold((f64::INFINITY,0.0_f64), |m,x| (m.0.min(x.0), m.1.max(x.1)));
        println!("closest to edge {:?}", worst);
        println!("speed {:?}", truth.states.iter().filter(|s| s.t_s > truth.laps[1].start_t_s && s.t_s < truth.laps.last().unwrap().start_t_s).map(|s| s.speed_mps).fold((99.0_f64, 0.0_f64), |m,v| (m.0.min(v), m.1.max(v))));
        println!("acc {:?}", truth.states.iter().map(|s| s.acceleration_mps2).fold((99.0_f64, -99.0_f64), |m,v| (m.0.min(v), m.1.max(v))));
        for p in truth.passes.iter().filter(|p| p.lap == 2 || p.lap==3) {
            println!("lap {} T{} {:?} {:.0}° in {:.3}s {:.2}m/s apex {:.3} gap {:.2} exit {:.3} {:.2} min {:.2}@{:.3} appr {:.2} R {:.1} len {:.1} s0 {:.1}", p.lap, p.corner, p.direction, p.angle_deg, p.turn_in.t_s, p.turn_in.speed_mps, p.apex.t_s, p.apex_gap_m, p.exit.t_s, p.exit.speed_mps, p.min_speed.speed_mps, p.min_speed.t_s, p.approach_speed_mps, 1.0/p.peak_curvature_per_m, p.exit.distance_m-p.turn_in.distance_m, p.turn_in.distance_m);
        }
    }
}
