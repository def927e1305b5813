//! The real program under a machine clock that is hours or days off, and that jumps while it runs. A certificate is good
//! today only, and a push service takes no token that is good for more than a day (RFC 8292, 2), both by the true time.

use glasshour::clock::{Clock, SystemClock};
use serde_json::{Value, json};
use tests::program::{Garden, Service, VOUCHED, post};
use tests::servers::broker::{self, Broker};
use tests::servers::faketime::{self, Faketime};
use tests::servers::hook::{self, Hook};
use tests::servers::http::{Answer, Request, Small};
use tests::servers::process::{until, until_within};
use tests::servers::push::{self, Phone};

const SECRET: &str = "seven lean cabbages";
/// A fruitless try is made again after half a minute, and both builds and machines may be slow.
const AGAIN_S: u32 = 120;

/// The far ends of three couriers.
struct Far {
    hook: Hook,
    push: Small,
    broker: Broker,
    ann: Phone,
}

fn available() -> bool {
    faketime::available() && hook::available() && push::available() && broker::available()
}

/// What a push service answers by its own, true clock.
fn judge(ann: &Phone, request: &Request) -> Answer {
    let now = SystemClock::new(None).wall_ms() / 1000;
    let until = ann.read(request).ok()?["claims"]["exp"].as_i64()?;
    let status = if (now..=now + 86_400).contains(&until) { 201 } else { 403 };
    Some((status, String::new(), Vec::new()))
}

impl Far {
    fn start() -> Self {
        let ann = Phone::new();
        let reader = ann.clone();
        let push = Small::start(move |request| judge(&reader, request));
        Self { hook: Hook::of_today(SECRET), push, broker: Broker::start(), ann }
    }

    fn garden(&self) -> Garden {
        Garden::of(|folder| {
            let (ledger, secret) = (folder.join("ledger"), folder.join("secret"));
            std::fs::write(&secret, format!("{SECRET}\n")).unwrap();
            format!(
                "{}{VOUCHED}\n[ledger]\nfolder = \"{}\"\ncommit_every_s = 0.2\n\n\
                 [broker]\nhost = \"127.0.0.1\"\nport = {}\n\n[mqtt_notices]\nprefix = \"yard/notices\"\n\n\
                 [web_push]\ncontact = \"mailto:grower@garden.example\"\nown_service = \"{}\"\n\n\
                 [webhook]\nurl = \"https://127.0.0.1:{}/in\"\nsecret_file = \"{}\"\nca = \"{}\"\n",
                Garden::head(),
                ledger.display(),
                self.broker.port,
                self.push.url(),
                self.hook.port,
                secret.display(),
                self.hook.authority().display(),
            )
        })
    }

    fn subscribe(&self, program: &Service) {
        let (p256dh, auth) = (self.ann.p256dh(), self.ann.auth());
        let endpoint = format!("{}/to/ann", self.push.url());
        note(
            program,
            &json!({ "what": "phone", "phone": "ann", "name": "ann's phone", "endpoint": endpoint,
                     "p256dh": p256dh, "auth": auth }),
        );
    }
}

fn note(program: &Service, note: &Value) {
    let (status, body) = post(program.address(), "/api/note", &json!({ "note": note })).unwrap();
    assert_eq!(status, 200, "{body}");
}

/// How far the newest drill has come by a courier.
fn way(now: &Value, courier: &str) -> Option<Value> {
    let drill = now["open"].as_array()?.iter().rfind(|notice| notice["minder"] == "drill")?;
    drill["deliveries"].as_array()?.iter().find(|way| way["courier"] == courier).cloned()
}

fn sent(program: &Service, courier: &str) {
    until_within(AGAIN_S, &format!("{courier} sends"), || {
        way(&program.now(), courier).filter(|way| way["sent"] == true)
    });
}

/// Why a courier waits after a try, once it does.
fn waits(program: &Service, courier: &str) -> String {
    let way = until_within(AGAIN_S, &format!("{courier} waits"), || {
        way(&program.now(), courier).filter(|way| way["tries"].as_u64() > Some(0))
    });
    assert_eq!((&way["sent"], &way["waits"]), (&json!(false), &json!(true)), "{way}");
    way["why"].as_str().unwrap().to_owned()
}

/// The webhook cannot go for the clock's sake, and says so on the step and as its state.
fn refuses_the_certificate(program: &Service, off: &str) {
    let why = waits(program, "webhook");
    let wanted =
        if off.starts_with('-') { "certificate is not yet valid" } else { "certificate has run out" };
    assert!(why.contains(wanted) && why.contains("is the board's time right"), "{off}: {why}");
    until("the courier's state says it", || {
        let state = program.now()["board"]["away"].to_string();
        (state.contains("webhook") && state.contains(wanted)).then_some(())
    });
}

/// The same step, once, under the id that it had from the start.
fn goes_once(program: &Service, far: &Far, id: &Value) {
    sent(program, "webhook");
    // That the clock jumped is a notice of its own.
    let came: Vec<Value> = far.hook.came().into_iter().filter(|it| it["key"] == *id).collect();
    let [one] = came.as_slice() else { panic!("{came:?}") };
    assert_eq!(one["signed"], true);
}

/// The jump that is not believed, in words.
fn doubt(program: &Service) -> Option<String> {
    program.now()["board"]["clock"]["doubt"].as_str().map(str::to_owned)
}

fn phones(program: &Service) -> (usize, usize) {
    let board = program.now()["board"].clone();
    let count = |of: &str| board[of].as_array().map_or(0, Vec::len);
    (count("phones"), count("phones_gone"))
}

fn id_of(message: &str) -> Value {
    serde_json::from_str::<Value>(message).unwrap()["id"].clone()
}

/// Started with a clock two days off, which is then set right under it.
fn two_days_off(off: &str) {
    let (far, clock) = (Far::start(), Faketime::new(off));
    let mut onlooker = far.broker.onlooker("yard/notices/notice/+");
    let garden = far.garden();
    let program = garden.start_with(&clock.environment());
    far.subscribe(&program);
    note(&program, &json!({ "what": "drill" }));
    // Who needs no certificate goes at once.
    let id = id_of(&onlooker.message().2);
    refuses_the_certificate(&program, off);
    // A token of another day is refused: that is said, and drops no phone.
    let why = waits(&program, "web push");
    assert!(why.contains("signature (403)") && why.contains("is the board's time right"), "{why}");
    assert_eq!((far.hook.came().len(), phones(&program)), (0, (1, 0)));

    clock.set("+0d");
    goes_once(&program, &far, &id);
    until_within(AGAIN_S, "the jump is told", || doubt(&program));
    let right = json!({ "what": "as_shown", "by": "the grower" });
    let (status, body) = post(program.address(), "/api/clock", &right).unwrap();
    if off.starts_with('-') {
        // Once somebody says that the clock is right now, its tokens are good again.
        assert_eq!(status, 200, "{body}");
        note(&program, &json!({ "what": "drill" }));
        sent(&program, "web push");
    } else {
        // Two days ahead are in the ledger: no word takes them back, and the phone waits on.
        assert_ne!(status, 200, "{body}");
        assert!(waits(&program, "web push").contains("is the board's time right"));
    }
    assert_eq!(phones(&program), (1, 0));
    assert!(program.stop().success(), "{}", garden.log());
}

#[test]
fn k5_with_a_clock_two_days_late_each_courier_does_what_it_can_and_says_what_the_others_wait_for() {
    if available() {
        two_days_off("-2d");
    }
}

#[test]
fn k5_with_a_clock_two_days_early_each_courier_does_what_it_can_and_says_what_the_others_wait_for() {
    if available() {
        two_days_off("+2d");
    }
}

#[test]
fn k5_with_a_clock_four_hours_off_everything_goes_by_every_courier() {
    if !available() {
        return;
    }
    for off in ["+4h", "-4h"] {
        let (far, clock) = (Far::start(), Faketime::new(off));
        let mut onlooker = far.broker.onlooker("yard/notices/notice/+");
        let garden = far.garden();
        let program = garden.start_with(&clock.environment());
        far.subscribe(&program);
        note(&program, &json!({ "what": "drill" }));
        let id = id_of(&onlooker.message().2);
        goes_once(&program, &far, &id);
        sent(&program, "web push");
        assert_eq!(program.now()["board"]["away"], json!([]), "{off}");
        assert!(program.stop().success(), "{}", garden.log());
    }
}

/// Started right, and the clock jumps away under it and back.
fn jumps_away_and_back(off: &str) {
    let (far, clock) = (Far::start(), Faketime::new("+0d"));
    let mut onlooker = far.broker.onlooker("yard/notices/notice/+");
    let garden = far.garden();
    let program = garden.start_with(&clock.environment());
    far.subscribe(&program);
    assert_eq!(doubt(&program), None);
    clock.set(off);
    note(&program, &json!({ "what": "drill" }));
    let id = id_of(&onlooker.message().2);
    // Tokens are by the time that is believed, which goes on; certificates are checked by the machine's clock.
    sent(&program, "web push");
    refuses_the_certificate(&program, off);
    let said = until_within(AGAIN_S, "the jump is told", || doubt(&program));
    assert!(said.contains("not believed"), "{said}");
    clock.set("+0d");
    until_within(AGAIN_S, "the clock is believed again", || doubt(&program).is_none().then_some(()));
    goes_once(&program, &far, &id);
    assert_eq!(phones(&program), (1, 0));
    assert!(program.stop().success(), "{}", garden.log());
}

#[test]
fn k5_a_clock_that_jumps_two_days_ahead_and_back_holds_up_certificates_only_and_nothing_is_sent_twice() {
    if available() {
        jumps_away_and_back("+2d");
    }
}

#[test]
fn k5_a_clock_that_jumps_two_days_back_and_forth_holds_up_certificates_only_and_nothing_is_sent_twice() {
    if available() {
        jumps_away_and_back("-2d");
    }
}
