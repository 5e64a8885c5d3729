//! How the allocator treats the large buffers of a decode.
//!
//! A decode takes and drops buffers of megabytes many times over. By default each comes as fresh pages of 4 KiB that the
//! system has to clear one fault at a time: a fifth of the time of a short decode. Kept on one heap of large pages they
//! cost next to nothing. Only speed depends on this; where it is not to be had, everything works as before.

/// Heap laid out in large pages, bytes: what a decode of one window takes, and some. Not used until it is written to.
#[cfg(all(target_os = "linux", target_env = "gnu"))]
const LARGE_PAGES: usize = 64 << 20;

/// To be called before other threads begin.
#[cfg(all(target_os = "linux", target_env = "gnu"))]
#[allow(unsafe_code)]
pub fn keep_large_buffers() {
    const ALIGNMENT: usize = 2 << 20;
    let kept = i32::try_from(2 * LARGE_PAGES).unwrap_or(i32::MAX);
    // SAFETY: mallopt(3) takes any value. The block is aligned and as long as stated, and madvise(2) with this advice
    // changes nothing that a program could read; it is freed once.
    unsafe {
        libc::mallopt(libc::M_MMAP_THRESHOLD, kept);
        libc::mallopt(libc::M_TRIM_THRESHOLD, kept);
        libc::mallopt(libc::M_ARENA_MAX, 1);
        let mut block = std::ptr::null_mut();
        if libc::posix_memalign(&raw mut block, ALIGNMENT, LARGE_PAGES) == 0 {
            libc::madvise(block, LARGE_PAGES, libc::MADV_HUGEPAGE);
            libc::free(block);
        }
    }
}

/// Elsewhere the system's ways are left alone.
#[cfg(not(all(target_os = "linux", target_env = "gnu")))]
pub fn keep_large_buffers() {}
