# tests/fuzz/fuzz_*.c with libFuzzer; corpora run as ordinary tests elsewhere.
file(GLOB fuzzers CONFIGURE_DEPENDS "${CMAKE_SOURCE_DIR}/tests/fuzz/fuzz_*.c")
foreach(source IN LISTS fuzzers)
  get_filename_component(name "${source}" NAME_WE)
  add_executable(${name} "${source}")
  target_compile_options(${name} PRIVATE -fsanitize=fuzzer)
  target_link_options(${name} PRIVATE -fsanitize=fuzzer)
  target_link_libraries(${name} PRIVATE pinspan_settings pinspan)
endforeach()
