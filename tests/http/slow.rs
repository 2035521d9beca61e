//! Clients that hold on to the real daemon do not slow down its work.

use std::{
    io::{Read, Write},
    net::TcpStream,
    time::Duration,
};

use crate::e2e::{
    farm::{Farm, World, room},
    until,
};

/// Clients of every slow kind: some say half a request, some never read a page that they asked for, some listen to the
/// stream and never read it, and some say nothing.
fn slow_clients(port: u16, count: usize) -> Vec<TcpStream> {
    let requests = [
        "GET / HTTP/1.1\r\nHost: loc",
        "GET / HTTP/1.1\r\nHost: localhost\r\n\r\n",
        "GET /events HTTP/1.1\r\nHost: localhost\r\n\r\n",
        "",
    ];
    let connect = |index: usize| {
        let mut stream = TcpStream::connect(("127.0.0.1", port)).unwrap();
        let request = requests[index % requests.len()];
        // Asked again and again without reading: what is not taken off fills every buffer on the way.
        (0..if index % requests.len() == 1 { 100 } else { 1 }).for_each(|_| {
            let _ = stream.write_all(request.as_bytes());
        });
        stream
    };
    (0..count).map(connect).collect()
}

/// The slowest of `rounds` readings, from being published until what follows from it is published by the daemon.
#[expect(clippy::disallowed_methods, reason = "a measurement of a process outside the program")]
fn slowest(world: &World, rounds: u32) -> Duration {
    let topic = room("oyster-hall", "air/temperature");
    let times = (0..rounds).map(|round| {
        let celsius = 15.0 + f64::from(round % 10) * 0.2;
        let began = std::time::Instant::now();
        world.inside("oyster-hall", celsius, 90.0);
        world.until_near(&topic, celsius, 0.05);
        began.elapsed()
    });
    times.max().unwrap()
}

#[test]
fn fifty_slow_clients_do_not_delay_the_engine() {
    let world = World::start(&Farm::default());
    world.outdoors(-6.0, 80.0);
    let alone = slowest(&world, 30);
    let mut clients = slow_clients(world.daemon.port(), 50);
    let beset = slowest(&world, 30);
    println!("the slowest of 30 readings took {alone:?} alone and {beset:?} beside 50 slow clients");
    assert!(beset < alone * 2 + Duration::from_millis(200), "{beset:?} beside slow clients, {alone:?} alone");
    // They are there, and they are cut off in the end.
    let mut ended = 0;
    for client in &mut clients {
        client.set_read_timeout(Some(Duration::from_secs(30))).unwrap();
        let mut rest = Vec::new();
        ended += usize::from(client.read_to_end(&mut rest).is_ok());
    }
    assert!(ended > 40, "only {ended} of 50 slow clients were let go");
    until("the daemon still answers", 10, || world.daemon.get("/healthz").filter(|(code, _)| *code == 200));
}
