//! Whatever is called a recording. The first byte chooses what its name says.

/// Samples that are looked at.
const MOST: usize = 48_000;

pub(crate) fn run(bytes: &[u8]) {
    let Some((first, rest)) = bytes.split_first() else {
        return;
    };
    let ending = ["wav", "flac", "m4a", "mp3", "aac", ""][usize::from(first % 6)];
    let Ok(recording) = sound::decode::decode(rest.to_vec(), ending) else {
        return;
    };
    assert!(recording.rate.is_finite() && recording.rate > 0.0);
    assert!(!recording.channels.is_empty());
    for channel in &recording.channels {
        let heard = &channel[..channel.len().min(MOST)];
        assert!(
            heard.iter().all(|x| x.is_finite()),
            "a sample that is no number"
        );
        let _ = sound::level::level(heard, recording.bits);
        let _ = sound::level::clicks(heard, recording.rate);
        let _ = sound::hum::hum(heard, recording.rate);
    }
}
