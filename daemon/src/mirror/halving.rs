//! Finding what the other side cannot read: halve until the bad point stands alone, set it aside, send the rest.

use super::points::Point;
use super::server::{Refusal, Server};

/// Single points a server may refuse before anything was taken: then it is not the points.
const ENOUGH: usize = 16;

/// Points that were set aside for one reason.
#[derive(Clone, Debug, PartialEq)]
pub struct SetAside {
    /// How many.
    pub count: u64,
    /// One of them.
    pub sample: Point,
    /// The server's words.
    pub why: String,
}

/// Writes all points; those the server cannot read are found by halving and come back, set aside.
///
/// `proven`: this server has taken something of ours before, so a few points that are refused are bad ones even where
/// nothing beside them was taken.
///
/// # Errors
///
/// Any refusal that is not about single points. Also when nothing at all is taken by a server that never took anything
/// (or of many points none): then the fault is not in the points, and nothing may be set aside for it.
pub async fn write_all<S: Server>(
    server: &S,
    points: Vec<Point>,
    proven: bool,
) -> Result<Vec<SetAside>, Refusal> {
    let mut to_do = vec![points];
    let mut aside: Vec<SetAside> = Vec::new();
    let (mut taken, mut alone) = (false, 0);
    while let Some(mut part) = to_do.pop() {
        let Some(sample) = part.first().cloned() else { continue };
        match server.write(part.clone()).await {
            Ok(()) => taken = true,
            Err(Refusal::TooOld { count, why }) => {
                // The rest of the part is stored; which ones were thrown away is not said.
                let count = count.unwrap_or(u64::MAX).min(part.len() as u64);
                taken |= count < part.len() as u64;
                aside.push(SetAside { count, sample, why });
            }
            Err(Refusal::Points(why)) if part.len() == 1 => {
                alone += 1;
                if alone >= ENOUGH && !taken {
                    return Err(Refusal::Us(format!("every point is refused: {why}")));
                }
                aside.push(SetAside { count: 1, sample, why });
            }
            Err(Refusal::Points(_)) => {
                let rest = part.split_off(part.len() / 2);
                to_do.push(rest);
                to_do.push(part);
            }
            Err(other) => return Err(other),
        }
    }
    match aside.last() {
        Some(last) if alone > 0 && !taken && !proven => {
            Err(Refusal::Us(format!("every point is refused: {}", last.why)))
        }
        _ => Ok(aside),
    }
}

#[cfg(test)]
mod tests {
    use std::future::Future;
    use std::sync::atomic::{AtomicU32, Ordering};

    use agronomy::quantity::Quantity;

    use super::*;
    use crate::mirror::points::of_reading;
    use crate::reading::{Reading, Reason};

    /// Refuses any part that holds one of its dislikes, or is too long, as strict servers do.
    struct Picky {
        dislikes: Vec<Point>,
        most: usize,
        calls: AtomicU32,
    }

    impl Server for Picky {
        fn number(&self) -> i64 {
            1
        }
        fn write(&self, points: Vec<Point>) -> impl Future<Output = Result<(), Refusal>> + Send {
            self.calls.fetch_add(1, Ordering::Relaxed);
            let bad = points.len() > self.most || points.iter().any(|point| self.dislikes.contains(point));
            std::future::ready(if bad { Err(Refusal::Points("no".to_owned())) } else { Ok(()) })
        }
    }

    fn picky(dislikes: &[Point]) -> Picky {
        Picky { dislikes: dislikes.to_vec(), most: usize::MAX, calls: AtomicU32::new(0) }
    }

    fn points(count: i64) -> Vec<Point> {
        let reading = |at_ms| Reading {
            probe: "bench".into(),
            quantity: Quantity::AirTemperature,
            value: 20.0,
            at_ms,
            reason: Reason::None,
        };
        (0..count).map(|at_ms| of_reading(&reading(at_ms)).unwrap()).collect()
    }

    #[tokio::test]
    async fn the_bad_points_are_found_by_halving_and_the_rest_goes_through() {
        let all = points(5000);
        let dislikes = vec![all[17].clone(), all[4999].clone()];
        let server = picky(&dislikes);
        let aside = write_all(&server, all, false).await.unwrap();
        assert_eq!(aside.into_iter().map(|aside| aside.sample).collect::<Vec<_>>(), dislikes);
        // Two paths of a binary tree over 5,000 leaves: at most 2 * (1 + 2 * 13) calls.
        let calls = server.calls.into_inner();
        assert!(calls <= 54, "{calls}");
    }

    #[tokio::test]
    async fn a_body_too_large_is_halved_until_it_fits_and_nothing_is_set_aside() {
        let server = Picky { most: 700, ..picky(&[]) };
        assert_eq!(write_all(&server, points(5000), false).await.unwrap(), []);
    }

    #[tokio::test]
    async fn a_server_that_refuses_everything_costs_no_point() {
        for count in [1, 3, 5000] {
            let all = points(count);
            assert!(matches!(write_all(&picky(&all), all, false).await, Err(Refusal::Us(_))), "{count}");
        }
    }

    #[tokio::test]
    async fn a_bad_point_alone_does_not_stop_a_server_that_took_others_before() {
        let all = points(1);
        assert_eq!(write_all(&picky(&all), all, true).await.unwrap().len(), 1);
    }

    #[tokio::test]
    async fn points_older_than_the_servers_limit_are_counted_without_halving() {
        struct Forgetful(AtomicU32);
        impl Server for Forgetful {
            fn number(&self) -> i64 {
                1
            }
            fn write(&self, _: Vec<Point>) -> impl Future<Output = Result<(), Refusal>> + Send {
                self.0.fetch_add(1, Ordering::Relaxed);
                std::future::ready(Err(Refusal::TooOld { count: Some(40), why: "too old".to_owned() }))
            }
        }
        let server = Forgetful(AtomicU32::new(0));
        let aside = write_all(&server, points(100), false).await.unwrap();
        assert_eq!((aside.len(), aside[0].count), (1, 40));
        assert_eq!(server.0.into_inner(), 1);
    }
}
