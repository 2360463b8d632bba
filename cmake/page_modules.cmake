# Brings in the page's packages when they are not there, or older than the lock file.
set(installed ${WEB}/node_modules/.package-lock.json)
if(NOT EXISTS ${installed} OR ${WEB}/package-lock.json IS_NEWER_THAN ${installed})
  execute_process(COMMAND ${NPM} ci --include=dev --no-audit --no-fund --loglevel=error
                  WORKING_DIRECTORY ${WEB} RESULT_VARIABLE failed)
  if(failed)
    message(FATAL_ERROR "The page's packages could not be brought in. Look at the network and run "
                        "it again; -D GRIDLEAK_PAGE=OFF builds the program without its page.")
  endif()
  file(TOUCH ${installed})
endif()
file(TOUCH ${STAMP})
