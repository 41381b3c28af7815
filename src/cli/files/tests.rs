//! What must hold of files that are written, whatever gets in the way.

use super::*;
use crate::text::Files;
use std::collections::BTreeSet;
use std::io::Write;

/// The names in a folder.
fn names(folder: &Path) -> BTreeSet<String> {
    let entries = fs::read_dir(folder).expect("listed").flatten();
    entries.map(|entry| entry.file_name().to_string_lossy().into_owned()).collect()
}

fn only(folder: &Path, wanted: &[&str]) {
    let wanted: BTreeSet<String> = wanted.iter().map(|&name| name.to_owned()).collect();
    assert_eq!(names(folder), wanted);
}

#[test]
fn a_file_is_replaced_whole() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("a.txt");
    write(&path, b"first").expect("written");
    write(&path, b"second").expect("written");
    assert_eq!(fs::read(&path).expect("read"), b"second");
    only(folder.path(), &["a.txt"]);
    let nowhere = folder.path().join("no/such/a.txt");
    let refused = write(&nowhere, b"x").expect_err("refused");
    assert!(refused.contains("there is no such file"), "{refused}");
    let refused = write(folder.path(), b"x").expect_err("refused");
    assert!(refused.contains("is a folder"), "{refused}");
}

#[test]
fn a_stream_is_there_when_it_is_finished_and_not_before() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("a.vcd");
    write(&path, b"old").expect("written");
    let mut stream = Stream::create(&path).expect("begun");
    for _ in 0..10_000 {
        stream.write_all(b"0123456789").expect("written");
    }
    assert_eq!(fs::read(&path).expect("read"), b"old");
    assert_eq!(names(folder.path()).len(), 2);
    // Another one for the same file does not take its place.
    let other = Stream::create(&path).expect("begun");
    assert_eq!(names(folder.path()).len(), 3);
    drop(other);
    stream.finish().expect("finished");
    assert_eq!(fs::read(&path).expect("read").len(), 100_000);
    let mut dropped = Stream::create(&path).expect("begun");
    dropped.write_all(b"half").expect("written");
    drop(dropped);
    assert_eq!(fs::read(&path).expect("read").len(), 100_000);
    only(folder.path(), &["a.vcd"]);
}

#[test]
fn several_files_are_written_all_or_none() {
    let folder = tempfile::tempdir().expect("a folder");
    let at = |name: &str| folder.path().join(name);
    write(&at("a"), b"old").expect("written");
    let file = |name: &str| (at(name), b"new".to_vec());
    let refused = write_all(&[file("a"), file("b"), file("no/c")]).expect_err("refused");
    assert!(refused.contains("no/c"), "{refused}");
    assert_eq!(fs::read(at("a")).expect("read"), b"old");
    only(folder.path(), &["a"]);
    let refused = write_all(&[file("a"), file("a")]).expect_err("refused");
    assert!(refused.contains("are one file"), "{refused}");
    write_all(&[file("a"), file("b")]).expect("written");
    assert_eq!(fs::read(at("a")).expect("read"), b"new");
    only(folder.path(), &["a", "b"]);
}

#[test]
fn a_read_only_file_is_kept() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("a.txt");
    fs::write(&path, "kept").expect("written");
    let mut permissions = fs::metadata(&path).expect("there").permissions();
    permissions.set_readonly(true);
    fs::set_permissions(&path, permissions).expect("allowed");
    let refused = write(&path, b"lost").expect_err("refused");
    assert!(refused.contains("it is read-only"), "{refused}");
    assert_eq!(fs::read(&path).expect("read"), b"kept");
    only(folder.path(), &["a.txt"]);
}

#[test]
fn what_a_killed_process_left_is_removed_and_no_more() {
    let folder = tempfile::tempdir().expect("a folder");
    let me = std::process::id();
    // Process 1 lives as long as the machine does; Linux numbers no process beyond 2^22 (proc(5), pid_max).
    let left = [".a.txt.4194999.new", ".a.txt.4194999-2.new"];
    let mine = format!(".a.txt.{me}.new");
    let kept =
        [".a.txt.1.new", ".b.txt.4194999.new", ".a.txt.new", ".a.txt.x.new", ".a.txt.4194999.old", "a.txt.4194999.new"];
    for name in left.iter().chain(&kept).chain([&mine.as_str()]) {
        fs::write(folder.path().join(name), "half").expect("written");
    }
    write(&folder.path().join("a.txt"), b"whole").expect("written");
    let mut wanted = kept.to_vec();
    wanted.push("a.txt");
    if !Path::new("/proc/self").exists() {
        // Where no process can be asked for, their age has to say.
        wanted.extend(left);
    }
    only(folder.path(), &wanted);
}

#[test]
fn the_longest_names_can_be_written() {
    let folder = tempfile::tempdir().expect("a folder");
    // 255 bytes, in characters of two.
    let name = format!("{}x", "µ".repeat(127));
    write(&folder.path().join(&name), b"x").expect("written");
    only(folder.path(), &[&name]);
}

#[test]
fn folders_are_not_read_as_files() {
    let folder = tempfile::tempdir().expect("a folder");
    let refused = Disk.read(folder.path()).expect_err("refused");
    assert!(refused.contains("is a folder, not a file"), "{refused}");
}

#[cfg(unix)]
mod unix {
    use super::*;
    use std::os::unix::fs::{MetadataExt, PermissionsExt, symlink};
    use std::os::unix::net::UnixListener;

    fn mode(path: &Path) -> u32 {
        fs::metadata(path).expect("there").permissions().mode() & 0o7777
    }

    #[test]
    fn permissions_and_owner_stay() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("a.sh");
        fs::write(&path, "old").expect("written");
        // Only the administrator may give a file away.
        let given = std::os::unix::fs::chown(&path, Some(12), Some(34)).is_ok();
        for bits in [0o600, 0o664, 0o755, 0o4711] {
            fs::set_permissions(&path, fs::Permissions::from_mode(bits)).expect("allowed");
            write(&path, b"new").expect("written");
            assert_eq!(mode(&path), bits, "{bits:o}");
        }
        if given {
            let found = fs::metadata(&path).expect("there");
            assert_eq!((found.uid(), found.gid()), (12, 34));
        }
        assert_eq!(fs::read(&path).expect("read"), b"new");
    }

    #[test]
    fn links_go_on_meaning_one_file() {
        let folder = tempfile::tempdir().expect("a folder");
        let at = |name: &str| folder.path().join(name);
        fs::create_dir(at("sub")).expect("a folder");
        fs::write(at("sub/a"), "a long old text").expect("written");
        symlink("sub/a", at("soft")).expect("a link");
        fs::hard_link(at("sub/a"), at("hard")).expect("a link");
        symlink("sub/later", at("dangling")).expect("a link");
        write(&at("soft"), b"new").expect("written");
        for name in ["soft", "hard", "sub/a"] {
            assert_eq!(fs::read(at(name)).expect("read"), b"new", "{name}");
        }
        write(&at("hard"), b"newer still").expect("written");
        assert_eq!(fs::read(at("sub/a")).expect("read"), b"newer still");
        write(&at("dangling"), b"first").expect("written");
        assert_eq!(fs::read(at("sub/later")).expect("read"), b"first");
        assert!(at("soft").is_symlink() && at("dangling").is_symlink());
        only(folder.path(), &["sub", "soft", "hard", "dangling"]);
        only(&folder.path().join("sub"), &["a", "later"]);
    }

    /// The kernel lets nobody make files in /sys.
    #[cfg(target_os = "linux")]
    #[test]
    fn a_folder_that_takes_no_files_is_named() {
        let refused = write(Path::new("/sys/a.txt"), b"x").expect_err("refused");
        assert!(refused.contains("the folder /sys takes no new files"), "{refused}");
    }

    #[cfg(target_os = "linux")]
    #[test]
    fn a_device_is_written_to_as_it_stands() {
        write(Path::new("/dev/null"), b"x").expect("written");
        // full(4): it is always full.
        let refused = write(Path::new("/dev/full"), b"x").expect_err("refused");
        assert!(refused.contains("the disk is full"), "{refused}");
    }

    #[test]
    fn what_is_no_file_is_not_waited_for() {
        let folder = tempfile::tempdir().expect("a folder");
        let pipe = folder.path().join("pipe");
        let made = std::process::Command::new("mkfifo").arg(&pipe).status();
        assert!(made.expect("mkfifo").success());
        let refused = Disk.read(&pipe).expect_err("refused");
        assert!(refused.contains("is a named pipe"), "{refused}");
        let socket = folder.path().join("socket");
        let _listener = UnixListener::bind(&socket).expect("a socket");
        let refused = Disk.read(&socket).expect_err("refused");
        assert!(refused.contains("a device or a socket"), "{refused}");
        let refused = Disk.read(Path::new("/dev/zero")).expect_err("refused");
        assert!(refused.contains("a device or a socket"), "{refused}");
    }
}
