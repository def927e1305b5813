//! The files that a site file names: passwords, tokens, the secret of the webhook, and certificates. They are opened as
//! at the start, so that what is missing is told before anything relies on it.

use std::os::unix::fs::PermissionsExt;
use std::path::Path;

use config::Fault;
use config::site::{Secret, Site, Way};
use rustls::RootCertStore;

use crate::http_out::add_authority;
use crate::service::settings::read_secret;

/// One file, and the key that names it.
struct Named<'a> {
    table: &'static str,
    key: &'static str,
    path: &'a Path,
}

/// Every file that the site file names for a secret or a certificate.
fn named<'a>(site: &'a Site) -> Vec<Named<'a>> {
    let mut named = Vec::new();
    let mut add = |table: &'static str, key: &'static str, path: Option<&'a Path>| {
        named.extend(path.map(|path| Named { table, key, path }));
    };
    let password = |secret: Option<&'a Secret>| match secret {
        Some(Secret::File(path)) => Some(path.as_path()),
        _ => None,
    };
    add("broker", "password_file", password(site.broker.as_ref().and_then(|it| it.password.as_ref())));
    add("mail", "password_file", password(site.mail.as_ref().and_then(|it| it.password.as_ref())));
    add("webhook", "secret_file", site.webhook.as_ref().map(|it| it.secret_file.as_path()));
    add("mirror", "token_file", site.mirror.as_ref().and_then(|it| it.token_file.as_deref()));
    add("picture", "token_file", site.picture.as_ref().and_then(|it| it.token_file.as_deref()));
    add("webhook", "ca", site.webhook.as_ref().and_then(|it| it.ca.as_deref()));
    add("mirror", "ca", site.mirror.as_ref().and_then(|it| it.ca.as_deref()));
    add("picture", "ca", site.picture.as_ref().and_then(|it| it.ca.as_deref()));
    add("life_sign", "ca", site.life_sign.as_ref().and_then(|it| it.ca.as_deref()));
    add("warnings", "ca", site.warnings.as_ref().and_then(|it| it.ca.as_deref()));
    let feed = site.outlook.as_ref().and_then(|it| it.feed.as_ref());
    add(
        "outlook",
        "ca",
        feed.and_then(|feed| match &feed.way {
            Way::Url { ca, .. } => ca.as_deref(),
            Way::Topic(_) => None,
        }),
    );
    named
}

impl Named<'_> {
    fn is_secret(&self) -> bool {
        self.key != "ca"
    }

    /// What is wrong with it and what to do, where it could not be used at the start.
    fn trouble(&self) -> Option<String> {
        let Self { table, key, path } = self;
        let named = format!("{key} of [{table}], {}", path.display());
        if !self.is_secret() {
            let why = add_authority(&mut RootCertStore::empty(), path).err()?;
            return Some(format!(
                "{named}: {why}; write the path of a PEM file with the certificate to trust"
            ));
        }
        match std::fs::metadata(path).map_err(|error| error.to_string()).and_then(|_| read_secret(path)) {
            Ok(secret) if secret.is_empty() => {
                Some(format!("{named}: there is nothing in its first line; write the secret there"))
            }
            Ok(_) => None,
            Err(why) => Some(format!(
                "{named}: {why}; write the path of a file that the service may read, with the secret in its first line"
            )),
        }
    }

    /// That others than its owner and its group may use a secret, where they may.
    fn warning(&self) -> Option<String> {
        let mode = std::fs::metadata(self.path).ok()?.permissions().mode() & 0o777;
        let wide = self.is_secret() && mode & 0o006 != 0;
        let Self { table, key, path } = self;
        let path = path.display();
        wide.then(|| {
            format!(
                "Beware: everybody on this machine may use {path}, the {key} of [{table}] (mode {mode:03o}); chmod o= {path}"
            )
        })
    }
}

/// What keeps a named file from being used, each with its place in the site file's `text`, in the order of the file; or,
/// where nothing does, a warning for each secret that is open to everybody.
pub(in crate::cli) fn files(site: &Site, text: &str) -> Result<Vec<String>, Vec<Fault>> {
    let named = named(site);
    let fault = |it: &Named<'_>| {
        let message = it.trouble()?;
        let (line, column) = place(text, it.table, it.key);
        Some(Fault { line, column, message })
    };
    let mut faults: Vec<Fault> = named.iter().filter_map(fault).collect();
    faults.sort();
    if faults.is_empty() { Ok(named.iter().filter_map(Named::warning).collect()) } else { Err(faults) }
}

/// Line and column of a key under a table; the file's beginning where it is written in another way.
pub(in crate::cli) fn place(text: &str, table: &str, key: &str) -> (usize, usize) {
    let mut within = false;
    for (index, line) in text.lines().enumerate() {
        let begun = line.trim_start();
        if let Some(header) = begun.strip_prefix('[') {
            within = header.split(']').next().is_some_and(|name| name.trim() == table);
        } else if within && begun.strip_prefix(key).is_some_and(|rest| rest.trim_start().starts_with('=')) {
            return (index + 1, line.chars().count() - begun.chars().count() + 1);
        }
    }
    (1, 1)
}

#[cfg(test)]
mod tests {
    use config::zone::Zones;

    use super::*;

    /// A site file with every such key; each names a file of the folder by its table and key.
    fn text(folder: &Path) -> String {
        let path = |name: &str| folder.join(name).display().to_string();
        format!(
            "[site]\nname = \"Bindweed Yard\"\nlatitude = 52.1\nlongitude = 5.3\nstandard_offset = \"+01:00\"\n\
             [broker]\nhost = \"127.0.0.1\"\nuser = \"glasshour\"\npassword_file = \"{}\"\n\
             [mail]\nhost = \"mail.garden.example\"\nuser = \"glasshour\"\npassword_file = \"{}\"\n\
             from = \"glasshour@garden.example\"\nto = [\"grower@garden.example\"]\n\
             [webhook]\nurl = \"https://hook.garden.example/in\"\nsecret_file = \"{}\"\nca = \"{}\"\n\
             [mirror]\nurl = \"https://mirror.garden.example\"\norg = \"o\"\nbucket = \"b\"\ntoken_file = \"{}\"\n",
            path("broker"),
            path("mail"),
            path("hook"),
            path("ca"),
            path("mirror")
        )
    }

    fn checked(folder: &Path) -> Result<Vec<String>, Vec<String>> {
        let text = text(folder);
        let site = config::read_site(&text, &config::crop_book().unwrap(), &Zones::system()).unwrap();
        let said = |fault: &Fault| {
            let line = text.lines().nth(fault.line - 1).unwrap();
            format!("{line} | {}", fault.message)
        };
        files(&site, &text).map_err(|faults| faults.iter().map(said).collect())
    }

    fn write(folder: &Path, name: &str, text: &str, mode: u32) {
        let path = folder.join(name);
        std::fs::write(&path, text).unwrap();
        std::fs::set_permissions(&path, std::fs::Permissions::from_mode(mode)).unwrap();
    }

    /// By `openssl req -x509 -nodes -newkey ec -pkeyopt ec_paramgen_curve:P-256 -subj "/CN=garden authority"`.
    const CERTIFICATE: &str = "\
-----BEGIN CERTIFICATE-----
MIIBjDCCATGgAwIBAgIUGgVBBXjZREqncP9gKsPQ33aey1swCgYIKoZIzj0EAwIw
GzEZMBcGA1UEAwwQZ2FyZGVuIGF1dGhvcml0eTAeFw0yNjExMjYxNTA3MjNaFw0z
NjExMjMxNTA3MjNaMBsxGTAXBgNVBAMMEGdhcmRlbiBhdXRob3JpdHkwWTATBgcq
hkjOPQIBBggqhkjOPQMBBwNCAATULzdcMCfXAMOnUXLuZHvRccAt3/YFB+veWwf6
IDE2zG/EStdFeMPXYSwO9LwdXzNiZGxu09IPqSBGC+/Bvw2jo1MwUTAdBgNVHQ4E
FgQUhf7QqbfKGabtvnq0L+dLie4kRpEwHwYDVR0jBBgwFoAUhf7QqbfKGabtvnq0
L+dLie4kRpEwDwYDVR0TAQH/BAUwAwEB/zAKBggqhkjOPQQDAgNJADBGAiEAoWsj
M/KzF3bqv7H/s42jj46imIqIGIERkDf1XV4m0PMCIQDT7qGSJazI75KicILqmQjG
9Qs+OF/VXAsC5tJedhc/wg==
-----END CERTIFICATE-----
";

    #[test]
    fn each_file_that_is_missing_empty_or_something_else_is_told_at_its_key_in_one_run() {
        let folder = tempfile::tempdir().unwrap();
        let here = folder.path();
        write(here, "mail", "\nthe second line\n", 0o640);
        write(here, "hook", "seven lean cabbages\n", 0o640);
        write(here, "ca", "no certificate\n", 0o644);
        std::fs::create_dir(here.join("mirror")).unwrap();
        let told = checked(here).unwrap_err();
        let parts = [
            ("password_file = ", "password_file of [broker], ", "No such file"),
            ("password_file = ", "password_file of [mail], ", "nothing in its first line"),
            ("ca = ", "ca of [webhook], ", "there is no certificate in it"),
            ("token_file = ", "token_file of [mirror], ", "Is a directory"),
        ];
        assert_eq!(told.len(), parts.len(), "{told:?}");
        for (said, (line, key, why)) in told.iter().zip(parts) {
            assert!(said.starts_with(line) && said.contains(key) && said.contains(why), "{said}");
            assert!(said.contains("; write the "), "{said}");
        }
    }

    #[test]
    fn a_secret_that_everybody_may_read_is_warned_of_and_a_certificate_is_not() {
        let folder = tempfile::tempdir().unwrap();
        let here = folder.path();
        for (name, mode) in [("broker", 0o600), ("mail", 0o644), ("hook", 0o640), ("mirror", 0o602)] {
            write(here, name, "seven lean cabbages\n", mode);
        }
        write(here, "ca", CERTIFICATE, 0o644);
        let warned = checked(here).unwrap();
        let of = |part: &str, mode: &str| warned.iter().any(|it| it.contains(part) && it.contains(mode));
        assert_eq!(warned.len(), 2, "{warned:?}");
        assert!(of("password_file of [mail]", "mode 644") && of("token_file of [mirror]", "mode 602"));
    }
}
