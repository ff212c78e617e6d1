//! Where the server's programs are.

use std::{
    collections::BTreeSet,
    ffi::OsStr,
    fs,
    path::{Path, PathBuf},
    process::Command,
};

use super::error::Error;

/// The oldest major version that the migrations work on.
pub(super) const MINIMUM: u32 = 15;

/// A folder with `initdb` and `postgres` of one version.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Binaries {
    pub(super) dir: PathBuf,
    pub(super) major: u32,
}

/// Where packages put PostgreSQL: a folder, how the names in it begin, and what follows.
/// The first two lines are Debian's and the PostgreSQL project's own for RPM systems; then SUSE and Alpine,
/// Homebrew (both processors) and the application for macOS. Common practice, no source.
const USUAL: [(&str, &str, &str); 8] = [
    ("usr/lib/postgresql", "", "bin"),
    ("usr", "pgsql-", "bin"),
    ("usr/lib", "postgresql", "bin"),
    ("usr/libexec", "postgresql", ""),
    ("usr/local/lib", "postgresql", "bin"),
    ("opt/homebrew/opt", "postgresql", "bin"),
    ("usr/local/opt", "postgresql", "bin"),
    ("Applications/Postgres.app/Contents/Versions", "", "bin"),
];

/// Every usable PostgreSQL, newest first: the folder named by the caller and no other, or what the path and
/// the usual places below `root` hold.
pub(super) fn all(bin_dir: Option<&Path>, path: Option<&OsStr>, root: &Path) -> Result<Vec<Binaries>, Error> {
    if let Some(dir) = bin_dir {
        return named(dir).map(|found| vec![found]);
    }
    let mut found = Vec::new();
    let mut too_old = Vec::new();
    let looked = candidates(path, root);
    for dir in &looked {
        match major_of(dir) {
            Ok(major) if major >= MINIMUM => found.push(Binaries { dir: dir.clone(), major }),
            Ok(major) => too_old.push((dir.clone(), major)),
            Err(_) => {}
        }
    }
    if found.is_empty() {
        return Err(Error::NoBinaries { looked: looked.into_iter().collect(), too_old });
    }
    found.sort_by_key(|binaries| std::cmp::Reverse(binaries.major));
    Ok(found)
}

/// The version that wrote the data, if there are data; else the newest.
pub(super) fn choose(found: &[Binaries], data: Option<u32>, dir: &Path) -> Result<Binaries, Error> {
    found.iter().find(|binaries| data.is_none_or(|major| binaries.major == major)).cloned().ok_or_else(|| {
        let mut installed: Vec<u32> = found.iter().map(|binaries| binaries.major).collect();
        installed.dedup();
        Error::OtherMajor { dir: dir.to_owned(), data: data.unwrap_or_default(), installed }
    })
}

fn named(dir: &Path) -> Result<Binaries, Error> {
    let bad = |problem| Error::BadBinDir { dir: dir.to_owned(), problem };
    let real = dir.canonicalize().map_err(|source| bad(format!("that cannot be opened ({source})")))?;
    match major_of(&real) {
        Ok(major) if major >= MINIMUM => Ok(Binaries { dir: real, major }),
        Ok(major) => Err(bad(format!("its version is {major} and Holt needs {MINIMUM} or newer"))),
        Err(problem) => Err(bad(problem)),
    }
}

fn candidates(path: Option<&OsStr>, root: &Path) -> BTreeSet<PathBuf> {
    let mut dirs = BTreeSet::new();
    for dir in path.map(std::env::split_paths).into_iter().flatten() {
        // What is on the path is often a link into a folder of one version, where its companions are.
        if let Some(parent) = dir.join("initdb").canonicalize().ok().as_deref().and_then(Path::parent) {
            dirs.insert(parent.to_owned());
        }
        let config = dir.join("pg_config");
        if config.is_file()
            && let Ok(answer) = Command::new(config).arg("--bindir").output()
        {
            dirs.extend(PathBuf::from(String::from_utf8_lossy(&answer.stdout).trim()).canonicalize());
        }
    }
    for (folder, prefix, rest) in USUAL {
        let entries = fs::read_dir(root.join(folder)).into_iter().flatten().flatten();
        let matching = entries.filter(|entry| entry.file_name().to_string_lossy().starts_with(prefix));
        dirs.extend(matching.filter_map(|entry| entry.path().join(rest).canonicalize().ok()));
    }
    dirs.retain(|dir| dir.join("initdb").is_file());
    dirs
}

/// The major version of the programs in a folder, or what is wrong with them.
fn major_of(dir: &Path) -> Result<u32, String> {
    if !dir.join("initdb").is_file() {
        return Err("there is no `initdb` in it".to_owned());
    }
    let answer = Command::new(dir.join("postgres"))
        .arg("--version")
        .output()
        .map_err(|source| format!("its `postgres` cannot be run ({source})"))?;
    let said = String::from_utf8_lossy(&answer.stdout);
    major_in(&said).ok_or_else(|| format!("its `postgres --version` said {:?}", said.trim()))
}

/// The number in `postgres (PostgreSQL) 15.18 (Debian 15.18-0+deb12u1)`, also of `19devel` and `19beta1`.
fn major_in(said: &str) -> Option<u32> {
    let version = said.strip_prefix("postgres (PostgreSQL) ")?;
    let end = version.find(|c: char| !c.is_ascii_digit()).unwrap_or(version.len());
    version[..end].parse().ok()
}

#[cfg(test)]
mod tests {
    use std::os::unix::fs::symlink;

    use super::*;

    fn install(dir: &Path, version: &str) {
        fs::create_dir_all(dir).unwrap();
        for program in ["initdb", "postgres"] {
            // Written by another process: a file that this one holds open for writing, or a child forked by
            // another test in that moment, cannot be run.
            let text = format!("#!/bin/sh\necho 'postgres (PostgreSQL) {version}'\n");
            let write = r#"printf %s "$1" >"$2" && chmod 755 "$2""#;
            let written = Command::new("sh").args(["-c", write, "sh", &text]).arg(dir.join(program)).status();
            assert!(written.unwrap().success());
        }
    }

    fn majors(found: &[Binaries]) -> Vec<u32> {
        found.iter().map(|binaries| binaries.major).collect()
    }

    #[test]
    fn versions_of_every_kind_are_read() {
        assert_eq!(major_in("postgres (PostgreSQL) 15.18 (Debian 15.18-0+deb12u1)\n"), Some(15));
        assert_eq!(major_in("postgres (PostgreSQL) 19devel\n"), Some(19));
        assert_eq!(major_in("postgres (PostgreSQL) 18\n"), Some(18));
        assert_eq!(major_in("something else 15.1\n"), None);
    }

    #[test]
    fn the_newest_comes_first_and_a_link_on_the_path_is_followed() {
        let root = tempfile::tempdir().unwrap();
        install(&root.path().join("usr/lib/postgresql/15/bin"), "15.18");
        install(&root.path().join("usr/pgsql-17/bin"), "17.2");
        install(&root.path().join("far/16/bin"), "16.1");
        let on_path = root.path().join("bin");
        fs::create_dir(&on_path).unwrap();
        symlink(root.path().join("far/16/bin/initdb"), on_path.join("initdb")).unwrap();

        let found = all(None, Some(on_path.as_os_str()), root.path()).unwrap();
        assert_eq!(majors(&found), [17, 16, 15]);
        assert_eq!(choose(&found, None, root.path()).unwrap().major, 17);
        assert_eq!(choose(&found, Some(15), root.path()).unwrap().major, 15, "the data decide");
        let refused = choose(&found, Some(14), root.path()).unwrap_err().to_string();
        assert!(refused.contains("written by PostgreSQL 14, and only 17, 16, 15"), "{refused}");
    }

    #[test]
    fn nothing_found_says_what_to_install_and_what_was_too_old() {
        let root = tempfile::tempdir().unwrap();
        let refused = all(None, None, root.path()).unwrap_err().to_string();
        for part in ["15 or newer", "apt-get install postgresql", "`store.postgres_bin`", "DATABASE_URL"] {
            assert!(refused.contains(part), "{part} is not in: {refused}");
        }

        install(&root.path().join("usr/lib/postgresql/13/bin"), "13.9");
        let refused = all(None, None, root.path()).unwrap_err().to_string();
        assert!(refused.contains("postgresql/13/bin has only version 13"), "{refused}");
    }

    #[test]
    fn a_named_folder_is_the_only_one_looked_into() {
        let root = tempfile::tempdir().unwrap();
        install(&root.path().join("usr/lib/postgresql/17/bin"), "17.2");
        install(&root.path().join("mine"), "15.1");
        fs::create_dir(root.path().join("empty")).unwrap();

        assert_eq!(majors(&all(Some(&root.path().join("mine")), None, root.path()).unwrap()), [15]);
        let refused = all(Some(&root.path().join("empty")), None, root.path()).unwrap_err().to_string();
        assert!(refused.contains("there is no `initdb` in it"), "{refused}");
    }
}
