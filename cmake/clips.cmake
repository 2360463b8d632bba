# Makes CLIPS/say_WORD.ogg.gz for each word of SPOKEN, and CLIPS/files.txt as web/build.mjs makes it.
file(REMOVE_RECURSE ${CLIPS})
file(MAKE_DIRECTORY ${CLIPS})
file(STRINGS ${SPOKEN} lines REGEX "^[a-z0-9]+ = ")
set(list)
foreach(line IN LISTS lines)
  string(REGEX MATCH "^([a-z0-9]+) = (.+)$" matched "${line}")
  set(name say_${CMAKE_MATCH_1}.ogg)
  execute_process(
    COMMAND ${VOICE} -v en-gb -s 155 -a 160 -w ${CLIPS}/word.wav "${CMAKE_MATCH_2}"
    COMMAND_ERROR_IS_FATAL ANY)
  execute_process(
    COMMAND ${OPUS} --quiet --bitrate 20 --padding 0 --discard-comments --serial 1
            ${CLIPS}/word.wav ${CLIPS}/${name}
    COMMAND_ERROR_IS_FATAL ANY OUTPUT_QUIET ERROR_QUIET)
  execute_process(COMMAND gzip -9 -n ${CLIPS}/${name} COMMAND_ERROR_IS_FATAL ANY)
  string(APPEND list "${name}\taudio/ogg\n")
endforeach()
file(REMOVE ${CLIPS}/word.wav)
file(WRITE ${CLIPS}/files.txt "${list}")
