# The command line: build/pinspan (the target has another name because the library is called pinspan too).
file(GLOB cli CONFIGURE_DEPENDS "${CMAKE_SOURCE_DIR}/src/cli/*.c")
# The command line and the report's tests call the room gauge: without it they could not be linked.
file(GLOB gauge CONFIGURE_DEPENDS "${CMAKE_SOURCE_DIR}/src/gauge/*.c")
if(cli AND gauge)
  add_executable(pinspan_program ${cli})
  set_target_properties(pinspan_program PROPERTIES OUTPUT_NAME pinspan)
  target_link_libraries(pinspan_program PRIVATE pinspan_settings pinspan PkgConfig::JANSSON m)
endif()
