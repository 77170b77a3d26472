# Language, warnings, sanitizers: one interface target that everything of ours links to.
set(CMAKE_C_STANDARD 11)
set(CMAKE_C_STANDARD_REQUIRED ON)
set(CMAKE_C_EXTENSIONS OFF)
set(CMAKE_CXX_STANDARD 17)
set(CMAKE_CXX_STANDARD_REQUIRED ON)
set(CMAKE_CXX_EXTENSIONS OFF)
set(CMAKE_POSITION_INDEPENDENT_CODE ON)
set(CMAKE_C_VISIBILITY_PRESET hidden)
set(CMAKE_CXX_VISIBILITY_PRESET hidden)
set(CMAKE_VISIBILITY_INLINES_HIDDEN ON)
set(CMAKE_EXPORT_COMPILE_COMMANDS ON)
set(CMAKE_RUNTIME_OUTPUT_DIRECTORY "${CMAKE_BINARY_DIR}")
if(NOT CMAKE_BUILD_TYPE AND NOT CMAKE_CONFIGURATION_TYPES)
  set(CMAKE_BUILD_TYPE Release CACHE STRING "" FORCE)
endif()
find_program(PINSPAN_CCACHE ccache)
if(PINSPAN_CCACHE)
  set(CMAKE_C_COMPILER_LAUNCHER "${PINSPAN_CCACHE}")
  set(CMAKE_CXX_COMPILER_LAUNCHER "${PINSPAN_CCACHE}")
endif()

add_library(pinspan_settings INTERFACE)
# -ffp-contract=off: the same bytes with and without fused multiply-add. -fno-math-errno -fno-trapping-math: nobody looks at errno or at
# floating-point exceptions after arithmetic, and loops with comparisons or roots can then take several numbers at a time; no value changes.
target_compile_options(pinspan_settings INTERFACE -Wall -Wextra -Wshadow -Wpointer-arith -Wvla -Wundef -ffp-contract=off -fno-math-errno -fno-trapping-math
  $<$<COMPILE_LANGUAGE:C>:-Wstrict-prototypes -Wmissing-prototypes -Wcast-qual>
  $<$<BOOL:${PINSPAN_WERROR}>:-Werror>)
target_compile_definitions(pinspan_settings INTERFACE _POSIX_C_SOURCE=200809L)
target_include_directories(pinspan_settings INTERFACE "${CMAKE_SOURCE_DIR}/include" "${CMAKE_SOURCE_DIR}/src")
if(PINSPAN_SANITIZE)
  target_compile_options(pinspan_settings INTERFACE -fsanitize=${PINSPAN_SANITIZE} -fno-sanitize-recover=all -fno-omit-frame-pointer)
  target_link_options(pinspan_settings INTERFACE -fsanitize=${PINSPAN_SANITIZE})
endif()
